// The photo of a trier check: named at once, so that the tap need not wait for it; scaled here, and kept with the tap.
import { newId } from "../../offline/outbox.js";
import { scaled } from "../../core/image.js";
import { t, tn } from "../../core/words.js";

const UNREADABLE = t("This browser cannot read that picture, as with some that are saved as HEIC. The check is kept without it. Set the camera to save JPEG, then take it once more.");

export class TrierPhoto {
  /** `late(text)` hears of one that could not be read, when its check was said already. */
  constructor({ sheet, photos, late }) {
    Object.assign(this, { photos, late });
    this.input = sheet.querySelector("[data-photo]");
    this.says = sheet.querySelector("[data-photo-says]");
    this.waiting = 0;
    this.input.addEventListener("change", () => this.#take(this.input.files[0]));
    photos.addEventListener("waiting", ({ detail }) => { this.waiting = detail.count; this.#tell(); });
    this.clear();
  }

  /** For a new check: none yet. One that was taken and not kept is gone. */
  clear() {
    this.taken = null;
    this.trouble = "";
    this.#tell();
  }

  get name() {
    return this.taken?.name ?? null;
  }

  /** Its check was said: the picture follows as soon as it is scaled. */
  keep(text) {
    const { taken } = this;
    if (!taken) return;
    taken.kept = true;
    taken.picture.then((picture) => this.photos.add(taken.name, text, picture), () => this.late(`${text}. ${UNREADABLE}`));
  }

  #tell() {
    const waits = this.waiting ? tn("1 photo waits for the server.", "{n} photos wait for the server.", this.waiting) : "";
    this.says.textContent = [this.trouble, this.name ? t("The photo goes with this check.") : "", waits].filter(Boolean).join(" ");
  }

  async #take(file) {
    if (!file) return;
    const taken = (this.taken = { name: newId(), picture: scaled(file) });
    this.trouble = "";
    this.#tell();
    await taken.picture.catch(() => {
      if (this.taken !== taken || taken.kept) return;
      this.taken = null;
      this.trouble = UNREADABLE;
      this.#tell();
    });
    this.input.value = ""; // the same file can be chosen again
  }
}
