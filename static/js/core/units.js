// Temperatures in the unit of the page: all data is in °C and is converted to the roastery's unit only here.
import { byId } from "./dom.js";
import { decimal } from "./words.js";

const { temp: letter } = JSON.parse(byId("units").textContent ?? "");
const [scale, zero] = letter === "F" ? [1.8, 32] : [1, 0];

const written = (/** @type {number} */ value) =>
  decimal(
    value
      .toFixed(1)
      .replace(/^-(?!0\.0$)/, "−")
      .replace(/^-/, ""),
  );

/** A temperature [°C] without its unit, for places where it is clear: “385.5”. */
export const degrees = (/** @type {number} */ tempC) => written(tempC * scale + zero);

/** A temperature [°C] with its unit: “385.5 °F”. */
export const temp = (/** @type {number} */ tempC) => `${degrees(tempC)} °${letter}`;

/** A rate, or its error [°C/min]: a difference, so no offset is added. */
export const rate = (/** @type {number} */ cPerMin) => written(cPerMin * scale);
