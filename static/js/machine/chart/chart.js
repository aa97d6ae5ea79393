// The live curve: what comes for it is gathered and drawn in one go, rows once a second, never while nobody looks and never
// in a finger's way; axes widen by steps.
import { apart, reach, widen } from "./axes.js";
import { embed } from "../../core/figure.js";
import { whenIdle } from "../../core/idle.js";
import { columns as ahead, reachS } from "../outlook/outlook.js";

const EVERY_MS = 900; // rows come each second: each is drawn as it comes, and no two redraws are nearer than this
const ALONE_MS = 1500; // so long what is to come waits for rows to be drawn with
const LATEST_MS = 1000; // a page that is never idle draws it all the same
const RIBBON_MS = 5000;
const TICK_S = 120;
const WORD = { high: 14, wide: 80, letter: 7 }; // px that a word at a line's end takes, and a letter
const TIER = 0.085; // of the panel: how far apart the server puts the lines of the moments' words
const MARGIN_PX = 56;
const OVERLAYS = ["marks", "checks", "ribbon"];

const numbers = (column) => Float32Array.from(column, (value) => value ?? NaN);
const last = (column) => column.findLast((value) => !Number.isNaN(value));
/** Columns as text, to tell whether they are others; how far a bar that still grows had come is no difference. */
const told = (columns) => JSON.stringify({ ...columns, right: columns.right?.map((atS, index) => (columns.last[index] ? null : atS)) });

export class Chart {
  #rows = [];
  #whole = null; // all columns anew, where they are another curve's
  #over = {}; // columns of marks, checks and ribbon
  #due = []; // moments to come
  #timer = 0;
  #drawAt = Infinity; // when the timer draws
  #drawing = false; // whether it waits for the page to be idle
  #rowsAt = -Infinity;
  #ribbonAt = 0;
  #held = false;

  static async make(drawing, host) {
    const chart = new Chart();
    chart.host = host;
    chart.figure = await embed(drawing, host);
    for (const name of OVERLAYS) chart[`${name}Said`] = told(Object.fromEntries(drawing.data.sources[name] ?? []));
    for (const name of ["live", "ends", "marks", "ahead", "checks", "ribbon"]) chart[name] = chart.figure.get(name);
    chart.ranges = Object.fromEntries(["time", "temp", "rate", "tiers"].map((name) => [name, chart.figure.get(name)]));
    const fit = () => {
      if (host.clientHeight) chart.figure.fit(host.clientHeight, host.clientHeight < 330 ? 18 : 24);
      chart.ranges.tiers.start = 1 - TIER / chart.#tier;
      chart.#follow();
    };
    new ResizeObserver(fit).observe(host);
    document.addEventListener("visibilitychange", () => chart.#want(0));
    return chart;
  }

  get endS() {
    return this.live.data.t_s.at(-1) ?? -1;
  }

  /** Rows as they come. */
  add(rows) {
    if (!rows?.t_s.length) return;
    this.#rows.push(rows);
    this.#want(this.#rowsAt + EVERY_MS);
  }

  /** The curve is about to be another one: what came for the old one is of no use, what comes now waits. */
  hold() {
    this.#held = true;
    this.#rows = [];
  }

  /** All rows anew: at the start of a batch, after a loss, when charge was moved. */
  replace(columns) {
    this.#whole = columns;
    this.#held = false;
    this.#want(0);
  }

  /** No batch that anything is known of. */
  clear() {
    const empty = (name) => Object.fromEntries(Object.keys(this[name].data).map((column) => [column, []]));
    this.overlay(Object.fromEntries(OVERLAYS.filter((name) => this[name]).map((name) => [name, empty(name)])));
    this.replace({ t_s: [] });
  }

  /** Columns of marks, checks and ribbon. */
  overlay(columns) {
    this.#over = columns;
    this.#want(0);
  }

  /** Moments to come; drawn with the next rows where some are on their way, so that it costs no redraw of its own. */
  expect(due) {
    this.#due = due;
    this.#want(this.#rowsAt + ALONE_MS);
  }

  /** Draw all that came in one go, not before a time of `performance.now`, and when the page is idle. */
  #want(atMs) {
    if (document.hidden || this.#drawing || (this.#timer && this.#drawAt <= atMs)) return;
    clearTimeout(this.#timer);
    this.#drawAt = atMs;
    this.#timer = setTimeout(() => {
      this.#drawing = true;
      whenIdle(() => this.#draw(), LATEST_MS);
    }, Math.max(0, atMs - performance.now()));
  }

  #draw() {
    this.#timer = 0;
    this.#drawing = false;
    const renewed = this.#renew();
    const longer = !this.#held && this.#stream();
    this.#cover();
    this.#foretell();
    if (renewed || longer) this.#label();
    this.#grow();
  }

  #renew() {
    const columns = this.#whole;
    if (!columns) return false;
    this.#whole = null;
    this.live.data = Object.fromEntries(
      Object.keys(this.live.data).map((name) => [name, numbers(columns[name] ?? columns.t_s.map(() => NaN))]),
    );
    this.ranges.time.end = 600;
    this.#ribbonAt = 0;
    return true;
  }

  /** Rows that came since; what a refetch brought already is left out, so a row never stands twice. */
  #stream() {
    const rows = this.#rows;
    this.#rows = [];
    const endS = this.endS;
    const names = Object.keys(this.live.data);
    const columns = Object.fromEntries(names.map((name) => [name, []]));
    for (const part of rows) {
      part.t_s.forEach((timeS, index) => {
        if (timeS > endS) for (const name of names) columns[name].push(part[name]?.[index] ?? NaN);
      });
    }
    if (!columns.t_s.length) return false;
    this.#rowsAt = performance.now();
    this.live.stream(Object.fromEntries(names.map((name) => [name, numbers(columns[name])])));
    return true;
  }

  /** Marks, checks and ribbon, each only where it is another than the one that stands. */
  #cover() {
    for (const name of OVERLAYS) {
      const columns = this.#over[name];
      const said = columns && this[name] && told(columns);
      if (!said || said === this[`${name}Said`]) continue;
      this[`${name}Said`] = said;
      this[name].data = columns;
      if (name === "ribbon") this.#ribbonAt = 0;
    }
    this.#over = {};
  }

  /** How far the lines of the moments' words are apart: never so little that they run into each other. */
  get #tier() {
    return Math.max(TIER, (WORD.high - 1) / this.figure.panelPx);
  }

  #foretell() {
    this.#widen();
    const { start, end } = this.ranges.time;
    const shown = ahead(this.#due, this.marks.data, ((end - start) * WORD.letter) / this.#panelPx, end);
    if (JSON.stringify(shown) === this.aheadSaid) return;
    this.aheadSaid = JSON.stringify(shown);
    this.ahead.data = shown;
  }

  #follow() {
    this.#foretell();
    this.#label();
    this.#grow();
  }

  /** The words at the ends of the lines move with them, and keep off each other. */
  #label() {
    const { ends, live, ranges } = this;
    const names = [...ends.data.channel];
    const temps = names.map((name) => last(live.data[name]) ?? NaN);
    const { start, end } = ranges.temp;
    const gap = ((end - start) * WORD.high) / this.figure.panelPx;
    // Under the two upper lines of the moments' words.
    const placed = apart(temps, gap, start + (end - start) * (1 - this.#tier) - 1.5 * gap);
    ends.data = { ...ends.data, t_s: names.map(() => this.endS), temp_c: placed };
  }

  get #panelPx() {
    return Math.max(this.host.clientWidth - MARGIN_PX, 3 * WORD.wide);
  }

  #widen() {
    const room = 1 / (1 - WORD.wide / this.#panelPx);
    reach(this.ranges.time, Math.max(this.endS, reachS(this.#due)) * room, TICK_S);
    for (const name of this.ends.data.channel) {
      widen(this.ranges, this.live.data[name].at(-1), this.live.data[`rate_${name}`]?.at(-1), this.endS);
    }
  }

  /** The bars that are still true reach until now; seldom, since each time costs a redraw of the ribbon. */
  #grow() {
    const now = performance.now();
    if (!this.ribbon || now - this.#ribbonAt < RIBBON_MS) return;
    this.#ribbonAt = now;
    const { last: open, left } = this.ribbon.data;
    const patches = [...open].flatMap((is, index) => (is && this.endS > left[index] ? [[index, this.endS]] : []));
    if (patches.length) this.ribbon.patch(new Map([["right", patches]]));
  }
}
