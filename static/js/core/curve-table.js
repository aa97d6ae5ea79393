// The curve as a table, for people who cannot see it: one row per half minute. Filled on demand.
import { clockText } from "./duration.js";
import { degrees, rate } from "./units.js";
import { t } from "./words.js";

const EVERY_S = 30;

/**
 * One cell; the time of a row is its head.
 * @param {"th" | "td"} kind
 * @param {string} text
 * @param {string} [scope]
 */
function cell(kind, text, scope) {
  const element = document.createElement(kind);
  element.textContent = text;
  if (scope) element.scope = scope;
  else element.className = "number";
  return element;
}

/** @param {HTMLElement[]} cells */
function row(cells) {
  const element = document.createElement("tr");
  element.append(...cells);
  return element;
}

/**
 * Indices of the displayed rows: the first at or after each half minute, and the last.
 * @param {number[]} times
 */
function shownRows(times) {
  /** @type {number[]} */
  const found = [];
  const slot = (/** @type {number} */ index) => Math.floor(times[index] / EVERY_S);
  for (let index = 0; index < times.length; index += 1) {
    const before = found.at(-1);
    if (times[index] >= 0 && (before === undefined || slot(index) > slot(before))) found.push(index);
  }
  if (times.length && found.at(-1) !== times.length - 1) found.push(times.length - 1);
  return found;
}

/**
 * Fill a table with columns of [°C] and [°C/min]; returns the number of rows.
 * @param {HTMLTableElement} table
 * @param {Columns} columns
 * @param {{ id: string, name: string }[]} channels
 */
export function fillTable(table, columns, channels) {
  const shown = channels
    .flatMap(({ id, name }) => [
      { title: name, values: columns[id], write: degrees },
      { title: t("{channel}, °/min", { channel: name }), values: columns[`rate_${id}`], write: rate },
    ])
    .filter(({ values }) => values && [...values].some((value) => Number.isFinite(value)));
  const head = document.createElement("thead");
  head.append(row([cell("th", t("Time"), "col"), ...shown.map(({ title }) => cell("th", title, "col"))]));
  const body = document.createElement("tbody");
  const times = [...(columns.t_s ?? [])].map(Number);
  for (const index of shownRows(times)) {
    const cells = shown.map(({ values, write }) => {
      const value = Number(values[index] ?? NaN);
      return cell("td", Number.isFinite(value) ? write(value) : "–");
    });
    body.append(row([cell("th", clockText(times[index]), "row"), ...cells]));
  }
  table.tHead?.remove();
  while (table.tBodies.length) table.tBodies[0].remove();
  table.append(head, body);
  return body.rows.length;
}
