// The live curve: incoming data is collected and drawn in one go, rows once a second, never while the page is hidden
// and never while a finger is down.
import { byId } from "../../core/dom.js";
import { CurveFigure } from "../../core/figure/curve-figure.js";
import { embed } from "../../core/figure/figure.js";
import { whenIdle } from "../../core/idle.js";
import { expectedColumns, reachS } from "../outlook/outlook.js";
import { upTo } from "./known.js";

const EVERY_MS = 900; // rows come each second and are drawn as they come, but no two redraws are closer than this
const MOST_MS = 1900; // and no two farther apart, however little the curve has grown
const HALF_PX = 0.5; // growth that is not seen
const ALONE_MS = 1500; // expected moments wait this long for rows to be drawn with
const LATEST_MS = 1000; // a page that is never idle draws after this time
const RIBBON_MS = 5000;
const LEAST_LANE_PX = 21;
const MOST_LANE_PX = 34;
const SHORT_PX = 300; // a chart of less height beside the weigh-out shows its curves only
const SOURCES = /** @type {const} */ (["live", "marks", "ahead", "checks", "ribbon"]);
const OVERLAYS = /** @type {const} */ (["marks", "checks", "ribbon"]);

/** @typedef {Partial<Record<typeof OVERLAYS[number], Record<string, any>>>} Overlays */

const numbers = (/** @type {Iterable<number | null>} */ column) => Float32Array.from(column, (value) => value ?? NaN);

/**
 * Columns as text, for comparison; neither the growing end of a bar nor the line of a label is a difference.
 * @param {Record<string, any>} columns
 */
const asText = (columns) => {
  /** @type {number[] | undefined} */
  const ends = columns.right;
  const right = ends?.map((atS, index) => (columns.last[index] ? null : atS));
  return JSON.stringify({ ...columns, right, y: null });
};

/**
 * Height of a lane of the ribbon: two thirds of the chart are the curves'.
 * @param {number} heightPx
 */
const lanePx = (heightPx) => Math.max(LEAST_LANE_PX, Math.min(MOST_LANE_PX, Math.round(heightPx / 16)));

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
   * @param {import("../../core/figure/figure.js").Figure} figure
   * @param {HTMLElement} host
   * @param {boolean} byHand whether a person types the temperatures
   */
  constructor(figure, host, byHand) {
    this.figure = figure;
    this.host = host;
    this.byHand = byHand;
    this.curve = new CurveFigure(figure, { isLive: true });
    /** @type {Record<typeof SOURCES[number], any>} */
    this.sources = /** @type {any} */ (Object.fromEntries(SOURCES.map((name) => [name, figure.get(name)])));
  }

  /**
   * @param {Drawing} drawing
   * @param {HTMLElement} host
   * @param {boolean} byHand
   */
  static async make(drawing, host, byHand) {
    const chart = new Chart(await embed(drawing, host), host, byHand);
    for (const name of OVERLAYS) {
      chart.#overlays[name] = Object.fromEntries(drawing.data.sources[name] ?? []);
      chart.#drawn[name] = asText(chart.#overlays[name]);
    }
    new ResizeObserver(() => chart.#resize()).observe(host);
    chart.figure.onLayout(() => chart.#fit());
    document.addEventListener("visibilitychange", () => chart.#schedule(0));
    return chart;
  }

  /** Divide the height; what follows from the panels' sizes is done once they have them. */
  #resize() {
    const { clientHeight } = this.host;
    if (!clientHeight) return;
    const isShort = clientHeight < SHORT_PX && byId("weigh-out").checkVisibility();
    this.figure.fit(clientHeight, isShort ? 0 : lanePx(clientHeight));
    // Shown once its panels have their heights: else they would jump.
    requestAnimationFrame(() => requestAnimationFrame(() => this.host.classList.add("fitted")));
  }

  #fit() {
    this.#drawOverlays();
    this.#fitCurve();
    this.#drawExpected();
    this.#growRibbon();
  }

  get endS() {
    return this.curve.endS;
  }

  /** The time up to which moments are drawn: readings that are behind would make them stand beyond the curve's end. */
  get #knownS() {
    return this.byHand ? Infinity : Math.max(0, this.endS);
  }

  /** Time between two redraws with rows: as long as the curve grows by less than can be seen, at most two seconds. */
  get #everyMs() {
    const unseenMs = 1000 * HALF_PX * this.curve.pxS;
    return Math.max(EVERY_MS, Math.min(MOST_MS, Math.floor(unseenMs / 1000) * 1000 - 100));
  }

  /**
   * Add incoming rows.
   * @param {Columns | undefined} rows
   */
  add(rows) {
    if (!rows?.t_s.length) return;
    this.#rows.push(rows);
    this.#schedule(this.#rowsAt + this.#everyMs);
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
    this.#overlays = { ...this.#overlays, ...columns };
    this.#schedule(0);
  }

  /**
   * Set the expected moments; they are drawn with the next rows if some are due, to save a redraw.
   * @param {ExpectedMoment[]} due
   */
  expect(due) {
    this.#due = due;
    this.#schedule(this.#rowsAt + Math.max(ALONE_MS, this.#everyMs));
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
    if (isRenewed || isLonger) this.#fitCurve();
    this.#drawExpected();
    this.#growRibbon();
  }

  #renew() {
    const columns = this.#whole;
    if (!columns) return false;
    this.#whole = null;
    const { live } = this.sources;
    const gaps = [...columns.t_s].map(() => NaN);
    live.data = Object.fromEntries(Object.keys(live.data).map((name) => [name, numbers(columns[name] ?? gaps)]));
    this.curve.restart();
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

  /** Update marks, checks and ribbon up to the newest reading, each only if it has changed. */
  #drawOverlays() {
    for (const name of OVERLAYS) {
      const columns = this.#overlays[name];
      if (!columns || !this.sources[name]) continue;
      const known = upTo(columns, this.#knownS);
      const text = asText(known);
      if (text === this.#drawn[name]) continue;
      this.#drawn[name] = text;
      this.sources[name].data = known;
      if (name === "marks") this.curve.placeMarks();
      if (name === "ribbon") this.#ribbonAt = 0;
      this.curve.placeTexts();
    }
  }

  #fitCurve() {
    const marks = this.sources.marks.data.t_s;
    this.curve.fit({ leastS: marks.at(-1), dueS: reachS(this.#due, this.endS) });
  }

  #drawExpected() {
    const { curve } = this;
    const columns = expectedColumns(this.#due, {
      tiers: curve.placeMarks(),
      labelS: (label) => curve.labelS(label),
      endS: curve.ranges.time.end,
    });
    const json = JSON.stringify(columns);
    if (json === this.#drawn.ahead) return;
    this.#drawn.ahead = json;
    this.sources.ahead.data = columns;
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
