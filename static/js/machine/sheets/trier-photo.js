// The photo of a trier check: named at once, so that the tap need not wait for it; scaled here, and stored with the
// tap.
import { find } from "../../core/dom.js";
import { scaledJpeg } from "../../core/photo.js";
import { t, tn } from "../../core/words.js";
import { newId } from "../../offline/outbox.js";

const UNREADABLE = t(
  "This browser cannot read the picture; it may be HEIC. The check is saved without it. Set the camera to JPEG and take it again.",
);

/** @typedef {{ name: string, picture: Promise<Blob>, isKept: boolean }} Taken */

export class TrierPhoto {
  /** @type {Taken | null} */
  #taken = null;
  #trouble = "";
  #waiting = 0;

  /**
   * `onLate(text)` is called for a photo that could not be read after its check was entered.
   * @param {object} parts
   * @param {HTMLElement} parts.sheet
   * @param {import("../../offline/photo-outbox.js").PhotoOutbox} parts.photoOutbox
   * @param {(text: string) => void} parts.onLate
   */
  constructor({ sheet, photoOutbox, onLate }) {
    this.photoOutbox = photoOutbox;
    this.onLate = onLate;
    this.input = find(sheet, "[data-photo]", HTMLInputElement);
    this.note = find(sheet, "[data-photo-says]");
    this.input.addEventListener("change", () => this.#take(this.input.files?.[0]));
    photoOutbox.on("waiting", ({ count }) => {
      this.#waiting = count;
      this.#draw();
    });
    this.clear();
  }

  /** Prepare for a new check; a photo that was taken and not saved is dropped. */
  clear() {
    this.#taken = null;
    this.#trouble = "";
    this.#draw();
  }

  get name() {
    return this.#taken?.name ?? null;
  }

  /**
   * Its check was entered: queue the photo as soon as it is scaled.
   * @param {string} text
   */
  keep(text) {
    const taken = this.#taken;
    if (!taken) return;
    taken.isKept = true;
    taken.picture.then(
      (picture) => this.photoOutbox.add(taken.name, text, picture),
      () => this.onLate(`${text}. ${UNREADABLE}`),
    );
  }

  #draw() {
    const waiting = this.#waiting;
    const waits = waiting
      ? tn("1 photo is waiting for the server.", "{n} photos are waiting for the server.", waiting)
      : "";
    const taken = this.name ? t("Photo added to this check.") : "";
    this.note.textContent = [this.#trouble, taken, waits].filter(Boolean).join(" ");
  }

  /** @param {File | undefined} file */
  async #take(file) {
    if (!file) return;
    const taken = { name: newId(), picture: scaledJpeg(file), isKept: false };
    this.#taken = taken;
    this.#trouble = "";
    this.#draw();
    await taken.picture.catch(() => {
      if (this.#taken !== taken || taken.isKept) return;
      this.#taken = null;
      this.#trouble = UNREADABLE;
      this.#draw();
    });
    this.input.value = ""; // so that the same file can be chosen again
  }
}
