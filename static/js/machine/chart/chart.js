// The live curve: rows are gathered and streamed once a second, never while nobody looks; axes widen by steps.
import { apart, reach, widen } from "./axes.js";
import { embed } from "../../core/figure.js";
import { columns as ahead, reachS } from "../outlook/outlook.js";

const EVERY_MS = 1000;
const RIBBON_MS = 5000;
const TICK_S = 120;
const WORD = { high: 14, wide: 80, letter: 7 }; // px that a word at a line's end takes, and a letter
const TIER = 0.085; // of the panel: how far apart the server puts the lines of the moments' words
const MARGIN_PX = 56;

const numbers = (column) => Float32Array.from(column, (value) => value ?? NaN);
const last = (column) => column.findLast((value) => !Number.isNaN(value));

export class Chart {
  #rows = [];
  #timer = 0;
  #ribbonAt = 0;
  #held = false;
  #due = []; // moments to come

  static async make(item, host) {
    const chart = new Chart();
    chart.host = host;
    chart.figure = await embed(item, host);
    for (const name of ["live", "ends", "marks", "ahead", "checks", "ribbon"]) chart[name] = chart.figure.get(name);
    chart.ranges = Object.fromEntries(["time", "temp", "rate", "tiers"].map((name) => [name, chart.figure.get(name)]));
    const fit = () => {
      if (host.clientHeight) chart.figure.fit(host.clientHeight, host.clientHeight < 330 ? 18 : 24);
      chart.ranges.tiers.start = 1 - TIER / chart.#tier;
      chart.#follow();
    };
    new ResizeObserver(fit).observe(host);
    document.addEventListener("visibilitychange", () => document.hidden || chart.#flush());
    return chart;
  }

  get endS() {
    return this.live.data.t_s.at(-1) ?? -1;
  }

  /** Rows as they come, for the next flush. */
  add(rows) {
    if (!rows?.t_s.length) return;
    this.#rows.push(rows);
    if (!document.hidden && !this.#timer && !this.#held) this.#timer = setTimeout(() => this.#flush(), EVERY_MS);
  }

  #flush() {
    clearTimeout(this.#timer);
    this.#timer = 0;
    if (this.#held) return;
    const rows = this.#rows;
    this.#rows = [];
    const endS = this.endS;
    // What a refetch brought already is left out, so a row never stands twice.
    const names = Object.keys(this.live.data);
    const columns = Object.fromEntries(names.map((name) => [name, []]));
    for (const part of rows) {
      part.t_s.forEach((timeS, index) => {
        if (timeS > endS) for (const name of names) columns[name].push(part[name]?.[index] ?? NaN);
      });
    }
    if (!columns.t_s.length) return void this.#foretell();
    this.live.stream(Object.fromEntries(names.map((name) => [name, numbers(columns[name])])));
    this.#follow();
  }

  /** The curve is about to be another one: what came for the old one is of no use, what comes now waits. */
  hold() {
    this.#held = true;
    this.#rows = [];
  }

  /** All rows anew: at the start of a batch, after a loss, when charge was moved. */
  replace(columns) {
    this.live.data = Object.fromEntries(
      Object.keys(this.live.data).map((name) => [name, numbers(columns[name] ?? columns.t_s.map(() => NaN))]),
    );
    this.ranges.time.end = 600;
    this.#ribbonAt = 0;
    this.#held = false;
    this.#follow();
    this.#flush();
  }

  /** No batch that anything is known of. */
  clear() {
    for (const name of ["marks", "checks", "ribbon"]) {
      if (!this[name]) continue;
      this[`${name}Said`] = null;
      this[name].data = Object.fromEntries(Object.keys(this[name].data).map((column) => [column, []]));
    }
    this.replace({ t_s: [] });
  }

  /** How far the lines of the moments' words are apart: never so little that they run into each other. */
  get #tier() {
    return Math.max(TIER, (WORD.high - 1) / this.figure.panelPx);
  }

  overlay({ marks, checks, ribbon }) {
    for (const [name, columns] of Object.entries({ marks, checks, ribbon })) {
      if (columns && this[name] && JSON.stringify(columns) !== this[`${name}Said`]) {
        this[`${name}Said`] = JSON.stringify(columns);
        this[name].data = columns;
      }
    }
    this.#ribbonAt = 0;
    this.#grow();
  }

  /** Moments to come; drawn with the next rows where some are on their way, so that it costs no redraw of its own. */
  expect(due) {
    this.#due = due;
    if (!document.hidden && !this.#timer) this.#foretell();
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
