// Server to page: the stream's events, and the fetch of everything after a loss. The chart is one of those it keeps true.
import { soon } from "../../core/fetch-timeout.js";
import { follow } from "./stream.js";
import { changedView } from "./view-changes.js";
import { say } from "../screen/numbers.js";
import { coming } from "../outlook/outlook.js";
import { summary } from "../outlook/curve-summary.js";

const SUMMARY_MS = 30_000;

const fetched = async (url) => {
  const answer = await soon(url, { cache: "no-store" });
  if (!answer.ok) throw new Error(`${url} answered ${answer.status}`);
  return answer.json();
};

export class Mirror {
  constructor({ state, numbers, echo }) {
    Object.assign(this, { state, numbers, echo });
    this.base = `/machines/${encodeURIComponent(state.view.machine.id)}`;
    this.machine = state.view; // its links, and what else ails the recording
    this.chart = null;
    this.settled = new Set(); // ids that the server has, though no view has told of them yet
    this.curve = this.#curveKey();
    state.addEventListener("change", () => this.#draw());
    state.addEventListener("outlook", () => this.#foretold(coming(state)));
    setInterval(() => document.hidden || this.#pass(), SUMMARY_MS);
    this.#tell();
    this.#draw();
  }

  start() {
    follow(`${this.base}/live?changes=1`, {
      reading: (reading) => this.#reading(reading),
      entry: (event) => this.#entries(event),
      outlook: (outlook) => this.state.foresee(outlook),
      state: (machine) => {
        this.machine = machine;
        this.#strip();
      },
      photo: ({ name }) => this.state.photoCame(name),
      curve: () => this.refetch(), // something came into rows that are drawn
      lost: () => {
        this.following = false;
        this.state.hear(false);
        this.state.foresee({ ...this.state.outlook, heads_up: [], suggestions: [] }); // nobody takes them back now
        this.#strip();
      },
      open: () => {
        this.following = true;
        document.dispatchEvent(new Event("serverback"));
        this.refetch();
      },
    });
  }

  show(chart) {
    this.chart = chart;
    this.#draw();
    if (this.state.connected) this.#loadCurve(); // rows that came while it was made
  }

  /** The server has it; should the stream not tell of it soon, ask. */
  settle(id) {
    if (!this.state.pending.has(id)) return;
    this.settled.add(id);
    setTimeout(() => this.state.pending.has(id) && this.refetch(), 3000);
  }

  async refetch() {
    const settled = [...this.settled];
    try {
      const view = await fetched(`${this.base}/view`);
      this.state.hear(true);
      this.curve = null;
      this.machine = view;
      await this.#see(view, settled);
    } catch {
      this.#again();
    }
    this.#strip();
  }

  /** The server is only half back; where it is not back at all, the stream asks when it is. */
  #again() {
    clearTimeout(this.timer);
    if (this.following) this.timer = setTimeout(() => this.refetch(), 2000);
  }

  #reading(reading) {
    this.numbers.reading(reading);
    this.chart?.add(reading.rows);
    const { read } = this.state;
    let moved = false;
    for (const { id } of this.state.view.controls) {
      const value = reading.values[id];
      if (value === undefined || value === null || value === read[id]) continue;
      read[id] = value;
      moved = true;
    }
    if (moved) this.state.changed();
  }

  /** Entries of anyone, and what they changed; where this page lacks what came before them, the whole view anew. */
  #entries(event) {
    const { state } = this;
    const ids = event.entries.map(({ id }) => id);
    const view = event.seq <= state.view.seq ? state.view : changedView(state.view, event);
    if (view) return void this.#see(view, ids);
    ids.forEach((id) => this.settled.add(id));
    this.refetch();
  }

  #curveKey() {
    const { batch } = this.state.view;
    return batch ? `${batch.code} ${batch.charged_at_ms}` : this.curve;
  }

  /** Another batch, or a charge that was moved: the curve is another one. */
  async #see(view, ids) {
    ids.forEach((id) => this.settled.delete(id));
    this.state.see(view, ids);
    this.#tell();
    if (this.#curveKey() === this.curve) return;
    this.curve = this.#curveKey();
    await this.#loadCurve();
  }

  /** All rows of the batch that is shown; those that come meanwhile are added to them. */
  async #loadCurve() {
    const { batch } = this.state.view;
    if (!this.chart || !batch) return;
    if (batch.charged_at_ms === null) {
      this.asked = null;
      return void this.chart.replace({ t_s: [] });
    }
    this.chart.hold();
    const asked = (this.asked = {}); // an answer that a newer question has overtaken is of no use
    try {
      const columns = await fetched(`/api/batches/${encodeURIComponent(batch.code)}/curve`);
      if (asked === this.asked) this.chart.replace(columns);
    } catch {
      this.#again();
    }
  }

  #tell() {
    this.echo.told(this.state.told?.log ?? []);
  }

  /** With time what is shown grows old, where nobody tells of anything. */
  #pass() {
    if (this.state.connected) this.#describe();
    else this.state.changed();
  }

  #draw() {
    const { state, chart } = this;
    this.#strip();
    this.#describe();
    if (!chart) return;
    if (state.told) chart.overlay(state.told.chart);
    else if (!state.connected && this.curve !== null) {
      this.curve = null; // the curve of another batch says nothing of one that began without the server
      chart.clear();
    }
    chart.expect(coming(state));
  }

  #foretold(due) {
    this.chart?.expect(due);
    const named = due.map(({ moment }) => moment).join();
    if (named !== this.named) this.#describe();
    this.named = named;
  }

  #strip() {
    this.numbers.strip(this.machine);
  }

  #describe() {
    say(document.getElementById("curves-said"), summary(this.state, this.numbers));
  }
}
