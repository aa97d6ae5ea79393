// After the drop: the form and the keypad of the weigh-out page, in the place of the pad. They are fetched while the
// batch is in the drum, so that they are here at the drop, and without a network too.
import { byId, find } from "../../core/dom.js";
import { fetchWithTimeout } from "../../core/fetch-timeout.js";
import { whenIdle } from "../../core/idle.js";
import { notice } from "../../core/notice.js";
import { numberError, parseNumber } from "../../core/number-input.js";
import { bindRoastLoss } from "../../core/roast-loss.js";
import { t } from "../../core/words.js";
import { nextPage, savedText, typedEntries, weightText } from "../../offline/weigh-out-entries.js";

const FETCH_MS = 3000; // the longest time that taps may delay the fetch
const PHASES = ["roasting", "cooling"];

/**
 * The weigh-out page from the server, else as the worker cached it.
 * @param {string} path
 */
async function weighPage(path) {
  const cached = async () => globalThis.caches?.match(path, { ignoreVary: true });
  const answer = await fetchWithTimeout(path, { cache: "no-store" }).catch(cached);
  return answer?.ok ? new DOMParser().parseFromString(await answer.text(), "text/html") : null;
}

/** @param {HTMLFormElement} form */
function showWeightError(form) {
  const says = find(form, "#roasted-says");
  const { value } = find(form, "#roasted", HTMLInputElement);
  const error = says.querySelector(".error") ?? document.createElement("p");
  error.className = "error";
  error.setAttribute("role", "alert");
  const isNumber = !value.trim() || !Number.isNaN(parseNumber(value));
  error.textContent = isNumber ? t("Roasted weight must be more than 0.") : numberError(value);
  says.prepend(error);
}

export class WeighOut {
  host = byId("weigh-out");
  #key = ""; // the batch, and what the loss is reckoned from, of the form that is here or on its way
  /** @type {HTMLFormElement | null} */
  #form = null;
  /** @type {Set<string>} */
  #waiting = new Set(); // entries of this weigh-out that the server has not answered yet
  #next = "";

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("../../offline/outbox.js").Outbox} parts.outbox
   * @param {import("./entries.js").Entries} parts.entries
   * @param {import("./pad.js").Pad} parts.pad
   */
  constructor({ state, clock, outbox, entries, pad }) {
    this.state = state;
    this.clock = clock;
    this.entries = entries;
    this.pad = pad;
    this.outbox = outbox;
  }

  start() {
    const { state, outbox } = this;
    if (document.body.classList.contains("watching")) return;
    state.addEventListener("change", () => this.#follow());
    outbox.on("state", ({ id, state: reached }) => this.#answered(id, reached));
    outbox.on("trouble", () => this.#leaveWaiting());
  }

  /** Fetch the form of the batch in the drum once, and again when its green weight or its name changes. */
  #follow() {
    const { serverBatch: batch, phase } = this.state;
    if (!batch || !PHASES.includes(phase) || this.#waiting.size) return;
    const key = [batch.code, batch.title, batch.green_g].join("\n");
    if (key === this.#key) return;
    this.#key = key;
    if (this.#form?.dataset.code !== batch.code) this.#show(null);
    const fetched = async () => {
      const page = await weighPage(`/batches/${encodeURIComponent(batch.code)}/weigh`).catch(() => null);
      if (key !== this.#key) return;
      if (page) this.#show(page);
      else this.#key = ""; // another change asks again
    };
    if (phase === "cooling") fetched();
    else whenIdle(fetched, FETCH_MS);
  }

  /** @param {Document | null} page */
  #show(page) {
    const before = this.#form?.dataset.code;
    const typed = this.host.querySelector("input")?.value ?? "";
    this.#form = page?.querySelector("form#weigh") ?? null;
    const save = page?.querySelector(".dock .primary") ?? page?.querySelector(".dock [type=submit]");
    const keypad = page?.querySelector(".dock .keypad");
    this.host.hidden = !(this.#form && save && keypad);
    if (this.host.hidden || !this.#form || !save || !keypad) {
      this.host.replaceChildren();
      return;
    }
    save.classList.add("keep");
    this.host.replaceChildren(this.#form, keypad, save);
    const field = find(this.#form, "#roasted", HTMLInputElement);
    field.inputMode = "none"; // the keypad is here
    if (before === this.#form.dataset.code) field.value = typed;
    bindRoastLoss(this.#form);
    this.#form.addEventListener("submit", (event) => this.#save(event));
  }

  /** @param {SubmitEvent} event */
  #save(event) {
    const form = this.#form;
    event.preventDefault();
    if (!form || this.#waiting.size) return;
    const made = typedEntries(form, event, this.clock.now());
    if (!made) {
      showWeightError(form);
      return;
    }
    this.#next = nextPage(form, event);
    made.forEach(({ id }) => this.#waiting.add(id));
    this.pad.hold(true);
    const weighed = t("Weighed {mass}", { mass: weightText(form) });
    this.entries.addMade(made.map((entry) => [entry, entry.kind === "weighed" ? weighed : t("Released")]));
  }

  /**
   * The label follows once all is on the server; a refusal is shown as that of any tap.
   * @param {string} id
   * @param {string} reached
   */
  #answered(id, reached) {
    if (!this.#waiting.has(id)) return;
    if (reached === "refused") this.#end();
    else if (reached === "sent" && this.#waiting.delete(id) && !this.#waiting.size) location.assign(this.#next);
  }

  /** Without the server the weight waits like any tap, and the pad is free for the next batch. */
  #leaveWaiting() {
    if (!this.#waiting.size || !this.#form) return;
    notice({ text: savedText(this.#form, this.#next) });
    this.#end();
  }

  #end() {
    this.#waiting.clear();
    this.pad.hold(false);
  }
}
