// Server to page: the stream's events, and a complete fetch after a lost connection. It also keeps the chart up to
// date.
import { byId, setText } from "../../core/dom.js";
import { fetchWithTimeout } from "../../core/fetch-timeout.js";
import { notice } from "../../core/notice.js";
import { t } from "../../core/words.js";
import { curveSummary } from "../outlook/curve-summary.js";
import { expectedMoments } from "../outlook/outlook.js";
import { follow } from "./stream.js";
import { changedView } from "./view-changes.js";

const JOINED = t(
  "This batch was started on a second device too. All entries are in one batch; if they are two, split them in its record.",
);
const SUMMARY_MS = 30_000;
const STREAM_WAIT_MS = 3_000; // if no stream opens, the curve is fetched after this time

/** @param {string} url */
const fetchJson = async (url) => {
  const answer = await fetchWithTimeout(url, { cache: "no-store" });
  if (!answer.ok) throw new Error(`${url} answered ${answer.status}`);
  return answer.json();
};

export class Sync {
  /** @type {import("../chart/chart.js").Chart | null} */
  chart = null;
  /** @type {Set<string>} */
  #settled = new Set(); // ids that the server has, but no view has contained yet
  onSettled = () => {}; // called when an entry has become one of them
  /** @type {object | null} */
  #asked = null; // the newest request for the curve
  #isFollowing = false;
  #isFetchingView = false;
  #expected = "";
  #timer = 0;

  /**
   * @param {object} parts
   * @param {import("./state.js").State} parts.state
   * @param {import("../screen/numbers.js").Numbers} parts.numbers
   * @param {import("../entries/feedback.js").Feedback} parts.feedback
   */
  constructor({ state, numbers, feedback }) {
    this.state = state;
    this.numbers = numbers;
    this.feedback = feedback;
    this.base = `/machines/${encodeURIComponent(state.view.machine.id)}`;
    /** @type {MachineState} */
    this.machine = state.view; // its links, and other recording problems
    /** @type {string | null} */
    this.curve = null;
    this.curve = this.#curveKey();
    state.addEventListener("change", () => this.#draw());
    state.addEventListener("outlook", () => this.#drawExpected());
    setInterval(() => document.hidden || this.#age(), SUMMARY_MS);
    this.#updateFeedback();
    this.#draw();
  }

  start() {
    follow(`${this.base}/live?changes=1`, {
      reading: (reading) => this.#addReading(reading),
      entry: (event) => this.#addEntries(event),
      outlook: (outlook) => this.state.updateOutlook(outlook),
      state: (machine) => {
        this.machine = machine;
        this.#drawStrip();
      },
      photo: ({ name }) => this.state.photoArrived(name),
      curve: () => this.refetch(), // late data arrived in rows that are drawn
      lost: () => {
        this.#isFollowing = false;
        this.state.setConnected(false);
        const { outlook } = this.state;
        const none = { ahead: outlook?.ahead ?? [], says: outlook?.says ?? "", heads_up: [], suggestions: [] };
        this.state.updateOutlook(none); // old advice would never be withdrawn now
        this.#drawStrip();
      },
      open: () => {
        this.#isFollowing = true;
        document.dispatchEvent(new Event("serverback"));
        this.refetch();
      },
    });
  }

  /** @param {import("../chart/chart.js").Chart} chart */
  show(chart) {
    this.chart = chart;
    this.#draw();
    if (!this.state.connected) return;
    if (this.#isFollowing && !this.#isFetchingView)
      this.#loadCurve(); // rows that came while it was made
    // Otherwise the curve is fetched with the view, once the stream is open.
    else setTimeout(() => this.#asked === null && this.#loadCurve(), STREAM_WAIT_MS);
  }

  /**
   * The server has an entry; if the stream does not report it soon, fetch the view.
   * @param {string} id
   */
  settle(id) {
    if (!this.state.pending.has(id)) return;
    this.#settled.add(id);
    this.onSettled();
    setTimeout(() => this.state.pending.has(id) && this.refetch(), 3000);
  }

  /** The entries that the server has, but no view has contained yet. */
  settled() {
    return [...this.state.pending.values()].filter(({ id }) => this.#settled.has(id));
  }

  /**
   * Go on with such entries of a page that was closed.
   * @param {Entry[]} entries
   */
  resume(entries) {
    this.state.restore(entries);
    entries.forEach(({ id }) => this.settle(id));
  }

  async refetch() {
    const settled = [...this.#settled];
    this.#isFetchingView = true;
    try {
      /** @type {View} */
      const view = await fetchJson(`${this.base}/view`);
      this.#isFetchingView = false;
      this.state.setConnected(true);
      this.curve = null;
      this.machine = view;
      await this.#update(view, settled);
    } catch {
      this.#isFetchingView = false;
      this.#retry();
    }
    this.#drawStrip();
  }

  /** The server is only partly back; if it is not back at all, the stream reconnects. */
  #retry() {
    clearTimeout(this.#timer);
    if (this.#isFollowing) this.#timer = setTimeout(() => this.refetch(), 2000);
  }

  /** @param {Reading} reading */
  #addReading(reading) {
    this.numbers.show(reading);
    this.chart?.add(reading.rows);
    const { machineSettings } = this.state;
    let moved = false;
    for (const { id } of this.state.view.controls) {
      const value = reading.values[id];
      if (value === undefined || value === null || value === machineSettings[id]) continue;
      machineSettings[id] = value;
      moved = true;
    }
    if (moved) this.state.changed();
  }

  /**
   * Apply entries of anyone and their changes; fetch the whole view if this page missed earlier ones.
   * @param {FlushEvent} event
   */
  #addEntries(event) {
    const { state } = this;
    const ids = event.entries.map(({ id }) => id);
    if (event.entries.some(({ id, kind }) => kind === "joined" && !state.pending.has(id))) notice({ text: JOINED });
    const view = event.seq <= state.view.seq ? state.view : changedView(state.view, event);
    if (view) {
      this.#update(view, ids);
      return;
    }
    ids.forEach((id) => this.#settled.add(id));
    this.refetch();
  }

  #curveKey() {
    const { batch } = this.state.view;
    return batch ? `${batch.code} ${batch.charged_at_ms}` : this.curve;
  }

  /**
   * Apply a newer view; fetch the curve if it is another one: another batch, or a moved charge.
   * @param {View} view
   * @param {string[]} ids
   */
  async #update(view, ids) {
    ids.forEach((id) => this.#settled.delete(id));
    this.state.update(view, ids);
    this.#updateFeedback();
    if (this.#curveKey() === this.curve) return;
    this.curve = this.#curveKey();
    await this.#loadCurve();
  }

  /** Fetch all rows of the displayed batch; rows that come meanwhile are added to them. */
  async #loadCurve() {
    const { batch } = this.state.view;
    const { chart } = this;
    if (!chart || !batch) return;
    if (batch.charged_at_ms === null) {
      this.#asked = null;
      chart.replace({ t_s: [] });
      return;
    }
    chart.hold();
    const asked = {}; // an answer to an older request is ignored
    this.#asked = asked;
    try {
      const columns = await fetchJson(`/api/batches/${encodeURIComponent(batch.code)}/curve`);
      if (asked === this.#asked) chart.replace(columns);
    } catch {
      this.#retry();
    }
  }

  #updateFeedback() {
    this.feedback.update(this.state.serverBatch?.log ?? []);
  }

  /** Update ages of displayed data while no event comes. */
  #age() {
    if (this.state.connected) this.#drawSummary();
    else this.state.changed();
  }

  #draw() {
    const { state, chart } = this;
    this.#drawStrip();
    this.#drawSummary();
    if (!chart) return;
    if (state.serverBatch) chart.overlay(state.serverBatch.chart);
    else if (!state.connected && this.curve !== null) {
      this.curve = null; // the curve of another batch says nothing about one begun offline
      chart.clear();
    }
    chart.expect(expectedMoments(state));
  }

  #drawExpected() {
    const due = expectedMoments(this.state);
    this.chart?.expect(due);
    const expected = due.map(({ moment }) => moment).join();
    if (expected !== this.#expected) this.#drawSummary();
    this.#expected = expected;
  }

  #drawStrip() {
    this.numbers.drawStrip(this.machine);
  }

  #drawSummary() {
    setText(byId("curves-said"), curveSummary(this.state, this.numbers));
  }
}
