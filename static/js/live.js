// The live page: wires its parts. Numbers on each event, the chart once a second, everything else when it changes.
import { Advice } from "./advice.js";
import { bindAroma } from "./aroma.js";
import { Chart } from "./chart.js";
import { Clock } from "./clock.js";
import { Controls } from "./controls.js";
import { fillTable } from "./curvetable.js";
import { bindDiscard } from "./discard.js";
import { bindDoor } from "./door.js";
import { Echo } from "./echo.js";
import { bindFar } from "./far.js";
import { FirstTap } from "./firsttap.js";
import { bindForeseen } from "./foreseen.js";
import { bindKeys } from "./keys.js";
import { bindLog } from "./log.js";
import { Mend } from "./mend.js";
import { Mirror } from "./mirror.js";
import { Numbers } from "./numbers.js";
import { bindOffline } from "./offline.js";
import { Outbox } from "./outbox.js";
import { Pad } from "./pad.js";
import { Photobox } from "./photobox.js";
import { bindRefusedPhotos } from "./refusedphotos.js";
import { bindRemarks } from "./remarks.js";
import { newest, remember } from "./remembered.js";
import { Sheets } from "./sheets.js";
import { Sound } from "./sound.js";
import { State } from "./state.js";
import { bindTrier } from "./trier.js";
import { Voice } from "./voice.js";
import { bindWaiting } from "./waiting.js";
import { Wake } from "./wake.js";
import { t } from "./words.js";

const TICK_MS = 250;
const $ = (id) => document.getElementById(id);
const block = (id) => JSON.parse($(id).textContent);

const made = block("view");
const { view, heardMs } = newest(made);
const channel = view.channels.find(({ role }) => role === "bean_probe") ?? view.channels[0];
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
// BokehJS is long work for a phone: it is run once the words are painted, and the page works while it draws.
const library = document.createElement("script");
library.src = $("bokeh").href;
library.addEventListener("load", async () => mirror.show(await Chart.make(block("figure"), $("curves"))));
requestAnimationFrame(() => setTimeout(() => document.head.append(library)));
