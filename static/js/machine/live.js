// The live page: connects its parts. Numbers are updated on each event, the chart once a second, everything else on
// change.
import { Clock } from "../core/clock.js";
import { fillTable } from "../core/curve-table.js";
import { byId } from "../core/dom.js";
import { whenIdle } from "../core/idle.js";
import { t } from "../core/words.js";
import { Outbox } from "../offline/outbox.js";
import { PhotoOutbox } from "../offline/photo-outbox.js";
import { Chart } from "./chart/chart.js";
import { Controls } from "./entries/controls.js";
import { Entries } from "./entries/entries.js";
import { Feedback } from "./entries/feedback.js";
import { bindKeyboard } from "./entries/keyboard.js";
import { bindOutboxStatus } from "./entries/outbox-status.js";
import { Pad } from "./entries/pad.js";
import { bindRefusedPhotos } from "./entries/refused-photos.js";
import { WeighOut } from "./entries/weigh-out.js";
import { Advice } from "./outlook/advice.js";
import { bindFarView } from "./screen/far-view.js";
import { FirstTap } from "./screen/first-tap.js";
import { Numbers } from "./screen/numbers.js";
import { Sound } from "./screen/sound.js";
import { WakeLock } from "./screen/wake-lock.js";
import { bindAroma } from "./sheets/aroma.js";
import { bindCrack } from "./sheets/crack.js";
import { bindDiscard } from "./sheets/discard.js";
import { EditRefused } from "./sheets/edit-refused.js";
import { bindLog } from "./sheets/log.js";
import { bindNote } from "./sheets/note.js";
import { bindOtherMoment } from "./sheets/other-moment.js";
import { bindOutlookList } from "./sheets/outlook-list.js";
import { Sheets } from "./sheets/sheets.js";
import { bindTrier } from "./sheets/trier.js";
import { bindAccessCheck } from "./state/access-check.js";
import { bindOfflineStatus } from "./state/offline-status.js";
import { State } from "./state/state.js";
import { Sync } from "./state/sync.js";
import { bindViewCache, newestView } from "./state/view-cache.js";

const TICK_MS = 250;
const CHART_MS = 2000; // the longest time that taps may delay the chart of a newly opened page
const block = (/** @type {string} */ id) => JSON.parse(byId(id).textContent ?? "");

/** @type {View} */
const made = block("view");
const { view, heardMs, settled } = await newestView(made);
const channel = /** @type {Channel} */ (view.channels.find(({ id }) => id === view.machine.bean));
const clock = Clock.onPage(made.now_ms);
const isCached = Boolean(document.documentElement.dataset.keptMs);
const state = new State(view, block("words"), { clock, connected: !isCached, heardMs });
const outbox = new Outbox(clock);
const photoOutbox = new PhotoOutbox(outbox);
const feedback = new Feedback();
const numbers = new Numbers({ state, clock, channel });
const entries = new Entries({ state, outbox, clock, feedback, who: block("who") });
const sheets = new Sheets({ state, clock, numbers });
const pad = new Pad({ state, clock, numbers, entries, hints: block("hints") });
const weighOut = new WeighOut({ state, clock, outbox, entries, pad });
const advice = new Advice({ state, clock, pad });
const controls = new Controls({ state, clock, entries, sheets });
const sync = new Sync({ state, numbers, feedback });
const wakeLock = new WakeLock(byId("awake"), byId("awake-why"));
const sound = new Sound({ state, clock, numbers, pad });
const firstTap = new FirstTap({ wakeLock, feedback });
const editor = new EditRefused({ sheets, state, outbox });
bindKeyboard({ sheets, pad, controls, feedback });
bindTrier({ sheets, state, entries, photoOutbox });
bindAroma({ sheets, state, entries });
bindCrack({ sheets, entries, state });
bindNote({ sheets, entries, clock });
bindOtherMoment({ sheets, state, clock, pad });
bindLog({ sheets, state, entries });
bindDiscard({ sheets, state, entries });
bindOutlookList({ sheets, state, advice });
bindFarView(byId("far"));
bindOfflineStatus(state);
bindAccessCheck(state);
bindViewCache(state, sync);
bindRefusedPhotos(photoOutbox);
bindOutboxStatus({ outbox, photoOutbox, feedback, state, entries, sync, editor });

byId("undo").addEventListener("click", () => entries.undoLast());
feedback.onUndo = ({ id, text }) => entries.undo(id, text);
feedback.onBringBack = ({ id, undone }) => entries.bringBack(id, undone);
feedback.onShift = (shown, byS) => {
  shown.shiftedS += byS;
  entries.shift(shown.id, byS, t("{what}, {n} s earlier", { what: shown.text, n: -shown.shiftedS }));
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
  wakeLock.want(state.phase === "open" || state.phase === "roasting");
  tick();
});

sheets.onOpen("table", () => {
  const { chart } = sync;
  const table = byId("table", HTMLTableElement);
  byId("table-none").hidden = Boolean(chart && fillTable(table, chart.sources.live.data, view.channels));
});

clock.keepSynced();
outbox.start();
photoOutbox.start();
weighOut.start();
if (settled.length) sync.resume(settled);
state.changed();
pad.draw();
controls.draw();
sync.start();
setInterval(tick, TICK_MS);
// Loading BokehJS takes long on a phone: it runs once the text is painted and no finger is down.
const library = document.createElement("script");
library.src = byId("bokeh", HTMLLinkElement).href;
library.addEventListener("load", async () =>
  sync.show(await Chart.make(block("figure"), byId("curves"), channel.by_hand)),
);
whenIdle(() => document.head.append(library), CHART_MS);
