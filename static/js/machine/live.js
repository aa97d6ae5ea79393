// The live page: wires its parts. Numbers on each event, the chart once a second, everything else when it changes.
import { Advice } from "./outlook/advice.js";
import { bindAroma } from "./sheets/aroma.js";
import { Chart } from "./chart/chart.js";
import { Clock } from "../core/clock.js";
import { Controls } from "./entries/controls.js";
import { fillTable } from "../core/curve-table.js";
import { whenIdle } from "../core/idle.js";
import { bindDiscard } from "./sheets/discard.js";
import { bindDoor } from "./state/access-check.js";
import { Echo } from "./entries/feedback.js";
import { bindFar } from "./screen/far-view.js";
import { FirstTap } from "./screen/first-tap.js";
import { bindForeseen } from "./sheets/outlook-list.js";
import { bindKeys } from "./entries/keyboard.js";
import { bindLog } from "./sheets/log.js";
import { Mend } from "./sheets/edit-refused.js";
import { Mirror } from "./state/sync.js";
import { Numbers } from "./screen/numbers.js";
import { bindOffline } from "./state/offline-status.js";
import { Outbox } from "../offline/outbox.js";
import { Pad } from "./entries/pad.js";
import { Photobox } from "../offline/photo-outbox.js";
import { bindRefusedPhotos } from "./entries/refused-photos.js";
import { bindRemarks } from "./sheets/remarks.js";
import { newest, remember } from "./state/view-cache.js";
import { Sheets } from "./sheets/sheets.js";
import { Sound } from "./screen/sound.js";
import { State } from "./state/state.js";
import { bindTrier } from "./sheets/trier.js";
import { Voice } from "./entries/entries.js";
import { bindWaiting } from "./entries/outbox-status.js";
import { Wake } from "./screen/wake-lock.js";
import { t } from "../core/words.js";

const TICK_MS = 250;
const CHART_MS = 2000; // so long a finger may hold up the chart of a page that was just opened
const $ = (id) => document.getElementById(id);
const block = (id) => JSON.parse($(id).textContent);

const made = block("view");
const { view, heardMs } = newest(made);
const channel = view.channels.find(({ id }) => id === view.machine.bean);
const clock = Clock.onPage(made.now_ms);
const state = new State(view, block("words"), { clock, connected: !document.documentElement.dataset.keptMs, heardMs });
const outbox = new Outbox(clock);
const photos = new Photobox(outbox);
const echo = new Echo();
const numbers = new Numbers({ state, clock, channel });
const voice = new Voice({ state, outbox, clock, echo, who: block("who") });
const sheets = new Sheets({ state, clock, numbers });
const pad = new Pad({ state, clock, numbers, voice, hints: block("hints") });
const advice = new Advice({ state, clock, pad });
const controls = new Controls({ state, clock, voice, sheets });
const mirror = new Mirror({ state, numbers, echo });
const wake = new Wake($("awake"), $("awake-why"));
const sound = new Sound({ state, clock, numbers, pad });
const firstTap = new FirstTap({ wake, echo });
bindKeys({ sheets, pad, controls, echo });
bindTrier({ sheets, state, voice, photos });
bindAroma({ sheets, state, voice });
bindRemarks({ sheets, voice, state, clock, pad });
bindLog({ sheets, state, voice });
bindDiscard({ sheets, state, voice });
bindForeseen({ sheets, state, advice });
bindFar($("far"));
bindOffline({ state });
bindDoor(state);
remember(state);
bindRefusedPhotos({ photos });
bindWaiting({ outbox, photos, echo, state, voice, mirror, mend: new Mend({ sheets, state, outbox }) });

$("undo").addEventListener("click", () => voice.undoLast());
echo.onUndo = ({ id, text }) => voice.undo(id, text);
echo.onShift = (shown, byS) => {
  shown.shiftedS += byS;
  voice.shift(shown.id, byS, t("{what}, {n} s earlier", { what: shown.text, n: -shown.shiftedS }));
};

const tick = () => {
  if (document.hidden) return;
  numbers.tick();
  pad.tick();
  advice.tick();
  sound.tick();
  firstTap.tick();
};
state.addEventListener("change", () => {
  wake.want(state.phase === "open" || state.phase === "roasting");
  tick();
});

sheets.on("table", () => {
  $("table-none").hidden = Boolean(mirror.chart && fillTable($("table"), mirror.chart.live.data, view.channels));
});

clock.keep();
outbox.start();
photos.start();
state.changed();
pad.draw();
controls.draw();
mirror.start();
setInterval(tick, TICK_MS);
// BokehJS is long work for a phone: it is run once the words are painted and no finger is at work.
const library = document.createElement("script");
library.src = $("bokeh").href;
library.addEventListener("load", async () => mirror.show(await Chart.make(block("figure"), $("curves"))));
whenIdle(() => document.head.append(library), CHART_MS);
