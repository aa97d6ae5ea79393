// The curve as a table, for whoever does not see it: a row each half minute. Filled when it is asked for.
import { stopwatch } from "./clock.js";
import { degrees, rate } from "./units.js";
import { t } from "./words.js";

const EVERY_S = 30;

/** One cell; the time of a row is its head. */
function cell(kind, text, scope) {
  const element = document.createElement(kind);
  element.textContent = text;
  if (scope) element.scope = scope;
  else element.className = "number";
  return element;
}

function row(cells) {
  const element = document.createElement("tr");
  element.append(...cells);
  return element;
}

/** Indices of the rows that are shown: the first at or after each half minute, and the last. */
function chosen(times) {
  const found = [];
  for (let index = 0; index < times.length; index += 1) {
    const slot = Math.floor(times[index] / EVERY_S);
    if (times[index] >= 0 && (!found.length || slot > Math.floor(times[found.at(-1)] / EVERY_S))) found.push(index);
  }
  if (times.length && found.at(-1) !== times.length - 1) found.push(times.length - 1);
  return found;
}

/** Fill a table with columns of [°C] and [°C/min]; `channels` are their ids and names. */
export function fillTable(table, columns, channels) {
  const shown = channels.flatMap(({ id, name }) => [
    { title: name, values: columns[id], write: degrees },
    { title: t("{channel}, °/min", { channel: name }), values: columns[`rate_${id}`], write: rate },
  ]).filter(({ values }) => values && [...values].some((value) => Number.isFinite(value)));
  const head = document.createElement("thead");
  head.append(row([cell("th", t("Time"), "col"), ...shown.map(({ title }) => cell("th", title, "col"))]));
  const body = document.createElement("tbody");
  const times = [...(columns.t_s ?? [])];
  for (const index of chosen(times)) {
    const told = shown.map(({ values, write }) => cell("td", Number.isFinite(values[index]) ? write(values[index]) : "–"));
    body.append(row([cell("th", stopwatch(times[index]), "row"), ...told]));
  }
  table.tHead?.remove();
  for (const old of [...table.tBodies]) old.remove();
  table.append(head, body);
  return body.rows.length;
}
