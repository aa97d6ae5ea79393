// The photo of a trier check: named at once, so that the tap need not wait for it; scaled here, and sent when it can be.
import { newId } from "./outbox.js";
import { Photobox } from "./photobox.js";
import { scaled } from "./picture.js";
import { t, tn } from "./words.js";

export class TrierPhoto {
  constructor(sheet) {
    this.name = null;
    this.input = sheet.querySelector("[data-photo]");
    this.says = sheet.querySelector("[data-photo-says]");
    this.box = new Photobox();
    this.waiting = 0;
    this.trouble = "";
    this.input.addEventListener("change", () => this.#take(this.input.files[0]));
    this.box.addEventListener("waiting", ({ detail }) => { this.waiting = detail.count; this.#tell(); });
    this.box.addEventListener("refused", ({ detail }) => { this.trouble = detail.reason; });
    this.box.start();
  }

  /** For a new check: none yet. */
  clear() {
    this.name = null;
    this.trouble = "";
    this.#tell();
  }

  #tell() {
    const waits = this.waiting ? tn("1 photo waits for the server.", "{n} photos wait for the server.", this.waiting) : "";
    this.says.textContent = [this.trouble, this.name ? t("The photo goes with this check.") : "", waits].filter(Boolean).join(" ");
  }

  async #take(file) {
    if (!file) return;
    const name = (this.name = newId());
    this.trouble = "";
    this.#tell();
    try {
      const picture = await scaled(file);
      this.input.value = "";
      await this.box.add(name, picture);
    } catch {
      if (this.name === name) this.name = null;
      this.trouble = t("This browser cannot read that picture. The check is kept without it.");
      this.#tell();
    }
  }
}
