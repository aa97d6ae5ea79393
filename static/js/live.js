// The live page: wires its parts. Numbers on each event, the chart once a second, everything else when it changes.
import { Advice } from "./advice.js";
import { bindAroma } from "./aroma.js";
import { Chart } from "./chart.js";
import { Clock } from "./clock.js";
import { Controls } from "./controls.js";
import { Echo, notice } from "./echo.js";
import { bindFar } from "./far.js";
import { bindForeseen } from "./foreseen.js";
import { bindLog } from "./log.js";
import { Mirror } from "./mirror.js";
import { Numbers, say } from "./numbers.js";
import { Outbox } from "./outbox.js";
import { Pad } from "./pad.js";
import { bindRemarks } from "./remarks.js";
import { Sheets } from "./sheets.js";
import { State } from "./state.js";
import { bindTrier } from "./trier.js";
import { Voice } from "./voice.js";
import { Wake } from "./wake.js";

const TICK_MS = 250;
const KINDS = { trier: "trier check", aroma: "aroma note", crack: "crack note", shift: "change of time", opened: "new batch" };
const $ = (id) => document.getElementById(id);
const block = (id) => JSON.parse($(id).textContent);

const view = block("view");
const channel = view.channels.find(({ role }) => role === "bean_probe") ?? view.channels[0];
const state = new State(view, block("words"));
const clock = (state.clock = new Clock(view.now_ms));
const outbox = new Outbox();
const echo = new Echo();
const numbers = new Numbers({ state, clock, channel });
const voice = new Voice({ state, outbox, clock, echo, who: block("who") });
const sheets = new Sheets({ state, clock, numbers });
const pad = new Pad({ state, clock, numbers, voice, hints: block("hints") });
const advice = new Advice({ state, clock, pad });
const controls = new Controls({ state, clock, voice, sheets });
const mirror = new Mirror({ state, numbers, echo });
const wake = new Wake($("awake"));
bindTrier({ sheets, state, voice });
bindAroma({ sheets, state, voice });
bindRemarks({ sheets, voice, state, clock, pad });
bindLog({ sheets, state, voice });
bindForeseen({ sheets, state, advice });
bindFar($("far"));

$("undo").addEventListener("click", () => voice.undoLast());
echo.onUndo = ({ id, text }) => voice.undo(id, text);
echo.onShift = (shown, byS) => {
  shown.shiftedS += byS;
  voice.shift(shown.id, byS, `${shown.text}, ${-shown.shiftedS} s earlier`);
};

outbox.addEventListener("waiting", ({ detail: { count, lasting } }) => {
  echo.lasting = lasting;
  say($("waiting"), `${count} waiting`);
  $("waiting").classList.toggle("bad", count > 0);
});
outbox.addEventListener("state", ({ detail: { id, state: reached, result, entry } }) => {
  echo.state(id, reached);
  if (reached === "sent") mirror.settle(id);
  if (reached === "refused") {
    state.forget(id);
    notice({ id, text: `The ${KINDS[entry.kind] ?? entry.kind} was not kept. ${result.reason} All else was; say it again if it still holds.`, refused: true, onDismiss: () => outbox.dismiss(id) });
  } else if (result?.notice) notice({ id, text: result.notice });
});

const tick = () => {
  if (document.hidden) return;
  numbers.tick();
  pad.tick();
  advice.tick();
};
state.addEventListener("change", () => {
  wake.want(state.phase === "roasting");
  tick();
});

clock.keep();
outbox.start();
state.changed();
pad.draw();
controls.draw();
mirror.start();
setInterval(tick, TICK_MS);
// Bokeh is a classic deferred script before this module, so it is here by now; the page works while it draws.
Chart.make(block("figure"), $("curves")).then((chart) => mirror.show(chart));
