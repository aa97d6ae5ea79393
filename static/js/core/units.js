// Degrees as the page shows them: everything comes in °C, and is turned into the roastery's own unit here and nowhere
// else.
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

/** A temperature [°C] where its unit is plain from the place: “385.5”. */
export const degrees = (/** @type {number} */ tempC) => written(tempC * scale + zero);

/** A temperature [°C] with its unit: “385.5 °F”. */
export const temp = (/** @type {number} */ tempC) => `${degrees(tempC)} °${letter}`;

/** A rate, or its error [°C/min]: a difference, which knows no zero. */
export const rate = (/** @type {number} */ cPerMin) => written(cPerMin * scale);
