// The live curve: incoming data is collected and drawn in one go, rows once a second, never while the page is hidden
// and never while a finger is down; axes grow in steps.
import { embed } from "../../core/figure.js";
import { whenIdle } from "../../core/idle.js";
import { expectedColumns, reachS } from "../outlook/outlook.js";
import { apart, reach, widen } from "./axes.js";

const EVERY_MS = 900; // rows come each second and are drawn as they come, but no two redraws are closer than this
const ALONE_MS = 1500; // expected moments wait this long for rows to be drawn with
const LATEST_MS = 1000; // a page that is never idle draws after this time
const RIBBON_MS = 5000;
const TICK_S = 120;
const WORD = { high: 14, wide: 80, letter: 7 }; // size in px of a label at a line's end, and of a letter
const TIER = 0.085; // distance between the moment labels' lines, as a share of the panel's height; set by the server
const MARGIN_PX = 56;
const SOURCES = /** @type {const} */ (["live", "ends", "marks", "ahead", "checks", "ribbon"]);
const OVERLAYS = /** @type {const} */ (["marks", "checks", "ribbon"]);

/** @typedef {Partial<Record<typeof OVERLAYS[number], Record<string, any>>>} Overlays */

const numbers = (/** @type {Iterable<number | null>} */ column) => Float32Array.from(column, (value) => value ?? NaN);
const last = (/** @type {Float32Array} */ column) => column.findLast((value) => !Number.isNaN(value));

/**
 * Columns as text, for comparison; the growing end of a bar is not a difference.
 * @param {Record<string, any>} columns
 */
const asText = (columns) => {
  /** @type {number[] | undefined} */
  const ends = columns.right;
  return JSON.stringify({ ...columns, right: ends?.map((atS, index) => (columns.last[index] ? null : atS)) });
};

export class Chart {
  /** @type {Columns[]} */
  #rows = [];
  /** @type {Columns | null} */
  #whole = null; // all columns at once, for another curve
  /** @type {Overlays} */
  #overlays = {};
  /** @type {ExpectedMoment[]} */
  #due = [];
  /** @type {Record<string, string>} */
  #drawn = {}; // the current content of the sources, as text
  #timer = 0;
  #drawAt = Infinity; // time of the next draw by timer
  #isDrawing = false; // whether a draw waits for an idle page
  #rowsAt = -Infinity;
  #ribbonAt = 0;
  #isHeld = false;

  /**
   * @param {import("../../core/figure.js").Figure} figure
   * @param {HTMLElement} host
   */
  constructor(figure, host) {
    this.figure = figure;
    this.host = host;
    /** @type {Record<typeof SOURCES[number], any>} */
    this.sources = /** @type {any} */ (Object.fromEntries(SOURCES.map((name) => [name, figure.get(name)])));
    /** @type {Record<"time" | "temp" | "rate" | "tiers", import("./axes.js").Range>} */
    this.ranges = {
      time: figure.get("time"),
      temp: figure.get("temp"),
      rate: figure.get("rate"),
      tiers: figure.get("tiers"),
    };
  }

  /**
   * @param {Drawing} drawing
   * @param {HTMLElement} host
   */
  static async make(drawing, host) {
    const chart = new Chart(await embed(drawing, host), host);
    for (const name of OVERLAYS) chart.#drawn[name] = asText(Object.fromEntries(drawing.data.sources[name] ?? []));
    new ResizeObserver(() => chart.#fit()).observe(host);
    document.addEventListener("visibilitychange", () => chart.#schedule(0));
    return chart;
  }

  #fit() {
    const { clientHeight } = this.host;
    if (clientHeight) this.figure.fit(clientHeight, clientHeight < 330 ? 18 : 24);
    this.ranges.tiers.start = 1 - TIER / this.#tier;
    this.#follow();
  }

  get endS() {
    return this.sources.live.data.t_s.at(-1) ?? -1;
  }

  /**
   * Add incoming rows.
   * @param {Columns | undefined} rows
   */
  add(rows) {
    if (!rows?.t_s.length) return;
    this.#rows.push(rows);
    this.#schedule(this.#rowsAt + EVERY_MS);
  }

  /** The curve is about to change: rows of the old one are dropped, new ones wait. */
  hold() {
    this.#isHeld = true;
    this.#rows = [];
  }

  /**
   * Replace all rows: at the start of a batch, after a lost connection, when charge was moved.
   * @param {Columns} columns
   */
  replace(columns) {
    this.#whole = columns;
    this.#isHeld = false;
    this.#schedule(0);
  }

  /** Show no batch. */
  clear() {
    const shown = OVERLAYS.filter((name) => this.sources[name]);
    const empty = (/** @type {object} */ data) => Object.fromEntries(Object.keys(data).map((column) => [column, []]));
    this.overlay(Object.fromEntries(shown.map((name) => [name, empty(this.sources[name].data)])));
    this.replace({ t_s: [] });
  }

  /**
   * Set the columns of marks, checks and ribbon.
   * @param {Overlays} columns
   */
  overlay(columns) {
    this.#overlays = columns;
    this.#schedule(0);
  }

  /**
   * Set the expected moments; they are drawn with the next rows if some are due, to save a redraw.
   * @param {ExpectedMoment[]} due
   */
  expect(due) {
    this.#due = due;
    this.#schedule(this.#rowsAt + ALONE_MS);
  }

  /**
   * Draw all collected data in one go, not before a time of `performance.now`, and when the page is idle.
   * @param {number} atMs
   */
  #schedule(atMs) {
    if (document.hidden || this.#isDrawing || (this.#timer && this.#drawAt <= atMs)) return;
    clearTimeout(this.#timer);
    this.#drawAt = atMs;
    const draw = () => {
      this.#isDrawing = true;
      whenIdle(() => this.#draw(), LATEST_MS);
    };
    this.#timer = setTimeout(draw, Math.max(0, atMs - performance.now()));
  }

  #draw() {
    this.#timer = 0;
    this.#isDrawing = false;
    const isRenewed = this.#renew();
    const isLonger = !this.#isHeld && this.#stream();
    this.#drawOverlays();
    this.#drawExpected();
    if (isRenewed || isLonger) this.#placeLabels();
    this.#growRibbon();
  }

  #renew() {
    const columns = this.#whole;
    if (!columns) return false;
    this.#whole = null;
    const { live } = this.sources;
    const gaps = [...columns.t_s].map(() => NaN);
    live.data = Object.fromEntries(Object.keys(live.data).map((name) => [name, numbers(columns[name] ?? gaps)]));
    this.ranges.time.end = 600;
    this.#ribbonAt = 0;
    return true;
  }

  /** Add the collected rows, without those that a refetch already contains, so that no row appears twice. */
  #stream() {
    const rows = this.#rows;
    this.#rows = [];
    const { endS } = this;
    const { live } = this.sources;
    const names = Object.keys(live.data);
    /** @type {Record<string, number[]>} */
    const columns = Object.fromEntries(names.map((name) => [name, []]));
    for (const part of rows) {
      [...part.t_s].forEach((timeS, index) => {
        if (timeS !== null && timeS > endS) for (const name of names) columns[name].push(part[name]?.[index] ?? NaN);
      });
    }
    if (!columns.t_s.length) return false;
    this.#rowsAt = performance.now();
    live.stream(Object.fromEntries(names.map((name) => [name, numbers(columns[name])])));
    return true;
  }

  /** Update marks, checks and ribbon, each only if it has changed. */
  #drawOverlays() {
    for (const name of OVERLAYS) {
      const columns = this.#overlays[name];
      const text = columns && this.sources[name] && asText(columns);
      if (!text || text === this.#drawn[name]) continue;
      this.#drawn[name] = text;
      this.sources[name].data = columns;
      if (name === "ribbon") this.#ribbonAt = 0;
    }
    this.#overlays = {};
  }

  /** Set the distance between the lines of moment labels, large enough that they never overlap. */
  get #tier() {
    return Math.max(TIER, (WORD.high - 1) / this.figure.panelPx);
  }

  #drawExpected() {
    this.#widen();
    const { start, end } = this.ranges.time;
    const letterS = ((end - start) * WORD.letter) / this.#panelPx;
    const columns = expectedColumns(this.#due, this.sources.marks.data, letterS, end);
    const json = JSON.stringify(columns);
    if (json === this.#drawn.ahead) return;
    this.#drawn.ahead = json;
    this.sources.ahead.data = columns;
  }

  #follow() {
    this.#drawExpected();
    this.#placeLabels();
    this.#growRibbon();
  }

  /** Move the labels at the ends of the lines with them, without overlap. */
  #placeLabels() {
    const { ends, live } = this.sources;
    const names = [...ends.data.channel];
    const temps = names.map((name) => last(live.data[name]) ?? NaN);
    const { start, end } = this.ranges.temp;
    const gap = ((end - start) * WORD.high) / this.figure.panelPx;
    // Below the two upper lines of moment labels.
    const placed = apart(temps, gap, start + (end - start) * (1 - this.#tier) - 1.5 * gap);
    ends.data = { ...ends.data, t_s: names.map(() => this.endS), temp_c: placed };
  }

  get #panelPx() {
    return Math.max(this.host.clientWidth - MARGIN_PX, 3 * WORD.wide);
  }

  #widen() {
    const { ends, live } = this.sources;
    const room = 1 / (1 - WORD.wide / this.#panelPx);
    reach(this.ranges.time, Math.max(this.endS, reachS(this.#due)) * room, TICK_S);
    for (const name of ends.data.channel) {
      widen(this.ranges, live.data[name].at(-1), live.data[`rate_${name}`]?.at(-1), this.endS);
    }
  }

  /** Extend the growing bars to now; rarely, since each time redraws the ribbon. */
  #growRibbon() {
    const { ribbon } = this.sources;
    const now = performance.now();
    if (!ribbon || now - this.#ribbonAt < RIBBON_MS) return;
    this.#ribbonAt = now;
    const { last: open, left } = ribbon.data;
    const patches = [...open].flatMap((isOpen, index) =>
      isOpen && this.endS > left[index] ? [[index, this.endS]] : [],
    );
    if (patches.length) ribbon.patch(new Map([["right", patches]]));
  }
}
