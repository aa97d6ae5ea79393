// The figure of one roast, live or recorded: axes that fit its data, and labels that overprint nothing.
import { apart, rateEnds, tempEnds, timeEnd, turnedS } from "./axes.js";
import { labelOf, textPx } from "./text-width.js";
import { spaceTicks } from "./ticks.js";
import { Tiers } from "./tiers.js";
import { degrees, rate } from "../units.js";

const LINE_PX = 15; // height of a line of text
const TIER = 0.085; // height of a line of labels on the scale of the tiers, as in roastlog/plot/overlays.py
const LABELS_SHARE = 0.17; // share of the panel that stays free for moments' labels,
const LABELS_PX = 30; // but no more than two lines: a third is rare
const LABEL_SHARE = 0.42; // share of the width that the labels at the ends of lines may take,
const RECORD_LABEL_SHARE = 0.3; // and on a record, whose tables have the values: the width is the curve's
const RULE_PX = 8; // beside a moment's label, on both sides together
const END_PX = 14; // beside the label at the end of a line
const UNIT_PX = { wide: 60, high: 16 }; // the axis's unit in the lower right corner
const [WIDEST_C, WIDEST_RATE] = [200, 20]; // no temperature or rate of a roast is wider as text
const LEAST_RECORD_S = 60;

/** @typedef {{ start: number, end: number, setv(ends: { start: number, end: number }): void }} Range */

/**
 * Set a range, only if it changes: each change is a redraw.
 * @param {Range} range
 * @param {[number, number]} ends
 */
function setEnds(range, [start, end]) {
  if (range.start !== start || range.end !== end) range.setv({ start, end });
}

/**
 * Set the texts of a source that are shown, only if they change.
 * @param {any} source
 * @param {string[]} shown
 */
function setShown(source, shown) {
  if (shown.join() !== [...(source.data.shown ?? [])].join()) source.data = { ...source.data, shown };
}

/**
 * The last value of a column, with its time; both NaN without one.
 * @param {ArrayLike<number>} times
 * @param {ArrayLike<number>} column
 */
function newest(times, column) {
  let index = column.length - 1;
  while (index >= 0 && !Number.isFinite(column[index])) index -= 1;
  return index < 0 ? { atS: NaN, value: NaN } : { atS: times[index], value: column[index] };
}

export class CurveFigure {
  #longestS = 0; // end of the axis of a live curve so far: it never becomes shorter at the same width
  #widthPx = 0;

  /**
   * @param {import("./figure.js").Figure} figure
   * @param {{ isLive: boolean }} how
   */
  constructor(figure, { isLive }) {
    this.figure = figure;
    this.isLive = isLive;
    this.live = figure.get("live");
    this.smoothed = figure.get("smoothed");
    this.marks = figure.get("marks");
    this.ribbon = figure.get("ribbon");
    this.checks = figure.get("checks");
    this.ends = figure.get("ends");
    const kinds = ["", "alone ", "live ", "both "];
    this.rateEnds = kinds.map((kind) => figure.get(`ends of ${kind}rates`)).filter(Boolean);
    /** @type {Record<"time" | "temp" | "rate" | "tiers", Range>} */
    this.ranges = {
      time: figure.get("time"),
      temp: figure.get("temp"),
      rate: figure.get("rate"),
      tiers: figure.get("tiers"),
    };
    this.temperatures = figure.get("temperatures");
    this.rates = figure.get("rates");
  }

  /** Time of the newest row; -1 without one. [s from charge] */
  get endS() {
    return this.live.data.t_s.at(-1) ?? -1;
  }

  /** Seconds of one px of the time axis. */
  get pxS() {
    return (this.ranges.time.end - this.ranges.time.start) / this.temperatures.inner_width;
  }

  /** Another curve begins, or another width: the axis may become shorter. */
  restart() {
    this.#longestS = 0;
  }

  /**
   * Fit axes and labels to the data and to the size of the panels.
   * @param {{ leastS?: number, dueS?: number }} [times] times from charge that the axis must contain: of a mark, and of
   *   a moment to come
   */
  fit({ leastS = 0, dueS = 0 } = {}) {
    if (!this.temperatures.inner_width) return; // not laid out yet
    this.#fitTime(Math.max(this.endS, leastS), dueS);
    this.#fitValues();
    spaceTicks(this.figure);
    this.placeMarks();
    this.placeTexts();
    this.#placeEnds(this.ends, this.temperatures.inner_height, this.ranges.temp, {
      write: degrees,
      labelsPx: LABELS_PX,
    });
    for (const ends of this.rateEnds) {
      this.#placeEnds(ends, this.rates.inner_height, this.ranges.rate, { write: rate, labelsPx: 0 });
    }
  }

  /** Place the labels of the moments; returns the lines that they take. */
  placeMarks() {
    const { marks } = this;
    const tiers = new Tiers();
    const labels = [...marks.data.label];
    const heights = [...marks.data.t_s].map((atS, index) => tiers.place(atS, atS + this.labelS(labels[index])));
    if (heights.join() !== [...marks.data.y].join()) marks.data = { ...marks.data, y: heights };
    return tiers;
  }

  /**
   * Time that a moment's label takes on the axis. [s]
   * @param {string} label
   */
  labelS(label) {
    return (textPx(label) + RULE_PX) * this.pxS;
  }

  get #labelShare() {
    return this.isLive ? LABEL_SHARE : RECORD_LABEL_SHARE;
  }

  /** The labels of the rates that a record shows: smoothed, live or both. */
  get #shownRateEnds() {
    const renderer = (/** @type {any} */ { name }) =>
      this.figure.get(name.replace(/^ends of (\w+) rates$/, "$1 ends of rates"));
    return this.rateEnds.filter((ends) => renderer(ends)?.visible !== false);
  }

  /**
   * The labels of a source, in the room that they may take: on a record all words go before the values.
   * @param {any} source
   * @param {(index: number) => string} valueOf
   */
  #labels(source, valueOf) {
    const mostPx = this.#labelShare * this.temperatures.inner_width - END_PX;
    /** @type {string[]} */
    const words = [...source.data.word];
    const isWhole = this.isLive || words.every((word, index) => textPx(`${word} ${valueOf(index)}`) <= mostPx);
    return words.map((word, index) => labelOf(word, isWhole ? valueOf(index) : "", mostPx));
  }

  /** @param {string} field */
  #column(field) {
    return (field in this.live.data ? this.live : this.smoothed).data[field];
  }

  /**
   * @param {number} newestS
   * @param {number} dueS
   */
  #fitTime(newestS, dueS) {
    const { time } = this.ranges;
    const { inner_width: widthPx } = this.temperatures;
    if (widthPx !== this.#widthPx) this.restart();
    this.#widthPx = widthPx;
    const labels = [
      ...this.#labels(this.ends, () => degrees(WIDEST_C)),
      ...this.#shownRateEnds.flatMap((ends) => this.#labels(ends, () => rate(WIDEST_RATE))),
    ];
    const wordsShare = Math.min(this.#labelShare, (Math.max(0, ...labels.map(textPx)) + END_PX) / widthPx);
    this.#longestS = Math.max(this.#longestS, timeEnd(newestS, { wordsShare, dueS }));
    setEnds(time, [0, this.isLive ? this.#longestS : Math.max(LEAST_RECORD_S, newestS / (1 - wordsShare))]);
  }

  #fitValues() {
    const { isLive, live } = this;
    const heightPx = this.temperatures.inner_height;
    const temps = [...this.ends.data.field].map((field) => live.data[field]);
    setEnds(this.ranges.temp, tempEnds(temps, { isLive, labelShare: Math.min(LABELS_SHARE, LABELS_PX / heightPx) }));
    this.ranges.tiers.start = 1 - (TIER * heightPx) / LINE_PX;
    const beans = Object.keys(live.data).filter((field) => `rate_${field}` in live.data);
    const fromS = turnedS(
      live.data.t_s,
      beans.map((field) => live.data[field]),
    );
    const fields = this.rateEnds.flatMap((ends) => [...ends.data.field]);
    const rates = [...new Set(fields)].map((field) => this.#column(field));
    setEnds(this.ranges.rate, rateEnds(live.data.t_s, rates, { isLive, fromS }));
  }

  /** Leave out a setting that would overprint the next one of its lane, and a letter that would the one before. */
  placeTexts() {
    const { ribbon, checks, pxS } = this;
    if (ribbon) {
      const { row, left, text } = ribbon.data;
      const next = [...left].map((_, index) => (row[index + 1] === row[index] ? left[index + 1] : Infinity));
      setShown(
        ribbon,
        [...text].map((word, index) => (next[index] - left[index] < textPx(word) * pxS ? "" : word)),
      );
    }
    const { t_s: times, letter } = checks.data;
    let freeS = -Infinity;
    const letters = [...letter].map((word, index) => {
      if (times[index] < freeS) return "";
      freeS = times[index] + textPx(word) * pxS;
      return word;
    });
    setShown(checks, letters);
  }

  /**
   * Place the labels at the ends of lines, with their values: without overlap, and as many as the panel has room for.
   * @param {any} source
   * @param {number} heightPx
   * @param {Range} range
   * @param {{ write: (value: number) => string, labelsPx: number }} how `labelsPx`: height of the moments' labels
   */
  #placeEnds(source, heightPx, { start, end }, { write, labelsPx }) {
    const most = Math.floor((heightPx - labelsPx) / LINE_PX);
    const latest = [...source.data.field].map((field) => newest(this.live.data.t_s, this.#column(field)));
    const labels = this.#labels(source, (index) =>
      Number.isFinite(latest[index].value) ? write(latest[index].value) : "",
    );
    const found = latest.map(({ atS, value }, index) => {
      const isShown = index < most && value >= start && value <= end;
      const text = labels[index];
      return isShown ? { atS, value, text } : { atS: NaN, value: NaN, text };
    });
    const unitPx = heightPx / (end - start);
    const rightPx = Math.max(...found.map(({ atS, text }) => (atS || 0) / this.pxS + textPx(text) + END_PX));
    const isAboveUnit = rightPx > this.temperatures.inner_width - UNIT_PX.wide && most > found.length;
    const floor = start + (LINE_PX / 2 + (isAboveUnit ? UNIT_PX.high : 0)) / unitPx;
    const ceiling = end - (labelsPx + LINE_PX / 2) / unitPx;
    const values = found.map(({ value }) => value);
    source.data = {
      ...source.data,
      t_s: found.map(({ atS }) => atS),
      y: apart(values, LINE_PX / unitPx, { floor, ceiling }),
      text: found.map(({ text }) => text),
    };
  }
}
