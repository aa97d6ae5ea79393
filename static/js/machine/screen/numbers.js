// The three numbers and the strip: plain text, updated only on change, grey when the last reading is old. The strip
// says “Live”, or only the thing that is wrong.
import { byId, setText } from "../../core/dom.js";
import { clockText, spanText } from "../../core/duration.js";
import { degrees, rate as ratePerMin } from "../../core/units.js";
import { decimal, t } from "../../core/words.js";

const OLD_MS = 3000;
const READ_AGAIN_MS = 60_000; // expected interval of readings typed by a person

export class Numbers {
  /** @type {number | null} */
  tempC = null;
  /** @type {number | null} */
  rateC = null;
  isDegraded = false; // whether readings or the server are missing
  /** @type {number | null} */
  #atMs = null;
  #isOld = false;

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {Channel} parts.channel
   */
  constructor({ state, clock, channel }) {
    this.state = state;
    this.clock = clock;
    this.channel = channel.id;
    this.channelShort = channel.short;
    this.byHand = channel.by_hand;
    this.surface = state.view.channels.find(({ role, id }) => role === "bean_surface" && id !== channel.id);
    this.probe = channel.role === "bean_probe" ? t("probe") : channel.short;
    this.rateOf = this.probe;
  }

  /** @param {Reading} reading */
  show({ at_ms: atMs, values, heard_ms: heardMs, rates }) {
    this.#atMs = heardMs?.[this.channel] ?? atMs; // other channels may continue while this one is missing
    const value = values[this.channel];
    if (typeof value === "number") this.tempC = value;
    setText(byId("temp"), this.tempC === null ? "–" : degrees(this.tempC));
    this.#showRate(rates ?? {});
  }

  /**
   * Show the probe's rate; while it settles, the rate of the infrared sensor, which is valid sooner. The label names
   * the source.
   * @param {Record<string, ChannelRate>} rates
   */
  #showRate(rates) {
    const infrared = this.surface && rates[this.surface.id];
    const isSooner = rates[this.channel]?.state === "settling" && infrared?.state === "ok";
    const rate = isSooner ? infrared : rates[this.channel];
    this.rateOf = isSooner ? t("surface") : this.probe;
    this.rateC = rate && typeof rate.rate === "number" && rate.state !== "settling" ? rate.rate : null;
    setText(byId("rate"), this.rateC === null ? "–" : ratePerMin(this.rateC));
    const error = this.rateC !== null && typeof rate?.error === "number" ? ` ± ${ratePerMin(rate.error)}` : "";
    const channel = `${this.rateOf[0].toUpperCase()}${this.rateOf.slice(1)}`;
    let label = t("{channel} rate", { channel });
    if (!this.byHand && rate?.state === "settling") label = t("{channel} rate, settling", { channel });
    if (!this.byHand && rate?.state === "held") label = t("{channel} rate, held", { channel });
    setText(byId("rate-label"), label + error);
  }

  /** Update the clocks and the age; called a few times a second. */
  tick() {
    const { state } = this;
    const now = this.clock.now();
    const isIdle = state.phase === "idle";
    const endMs = state.atMs("drop") ?? now;
    const crackMs = isIdle ? null : state.atMs("first_crack");
    const totalS = isIdle ? null : state.secondsFromCharge(endMs);
    const crackS = crackMs === null ? null : state.secondsFromCharge(crackMs);
    const develops = crackS !== null && crackS > 0 && totalS !== null && totalS >= crackS;
    const developedS = develops ? totalS - crackS : null;
    setText(byId("clock-label"), developedS === null ? t("Since charge") : t("Development"));
    const shownS = developedS ?? totalS;
    setText(byId("clock"), shownS === null ? "–:––" : clockText(Math.max(0, shownS)));
    let of = "";
    if (developedS !== null && totalS !== null) {
      const percent = totalS > 0 ? (100 * developedS) / totalS : 0;
      of = `${decimal(percent.toFixed(1))} %\n` + t("of {time}", { time: clockText(totalS) });
    }
    setText(byId("clock-of"), of);
    this.#showAge(now);
  }

  /** @param {number} nowMs */
  #showAge(nowMs) {
    const { connected, heardMs } = this.state;
    const atMs = this.#atMs ?? (connected ? null : heardMs); // a cached page shows its own age
    const ageMs = atMs === null ? null : Math.max(0, (nowMs - atMs) / this.clock.rate);
    const isOld = ageMs === null || ageMs > (this.byHand ? READ_AGAIN_MS : OLD_MS);
    if (this.#isOld !== isOld) byId("three").classList.toggle("old", isOld);
    this.#isOld = isOld;
    setText(byId("age"), this.#ageText(ageMs));
  }

  /** @param {number | null} ageMs */
  #ageText(ageMs) {
    if (ageMs === null) return t("no reading");
    if (this.state.connected && ageMs <= OLD_MS) return t("Live");
    const time = spanText(ageMs);
    if (this.byHand && ageMs > READ_AGAIN_MS) return t("{time} old: read again", { time });
    return t("Readings {time} old", { time });
  }

  /**
   * Show the phase, or the loss: a dead link and a dead stream are named in words.
   * @param {MachineState} machine
   */
  drawStrip({ links, trouble = "" }) {
    const { connected, hasAccess, phaseWord } = this.state;
    const lost = (links ?? []).find((link) => link.state === "lost");
    this.isDegraded = !connected || Boolean(lost || trouble);
    let short = "";
    if (!connected) short = hasAccess ? t("▲ offline") : t("▲ not paired");
    else if (lost) short = t("▲ lost: {name}", { name: lost.name });
    else if (trouble) short = t("▲ see below");
    const phase = byId("phase");
    setText(phase, short || phaseWord);
    phase.classList.toggle("bad", this.isDegraded);
    byId("trouble").hidden = !this.isDegraded;
    byId("let-in").hidden = hasAccess;
    const text = this.#troubleText(lost, trouble);
    if (text) setText(byId("trouble-said"), text);
  }

  /**
   * @param {LinkView | undefined} lost
   * @param {string} trouble
   */
  #troubleText(lost, trouble) {
    const { connected, hasAccess, heardMs, batch } = this.state;
    const taps = t("Taps are saved with their times. Reconnecting…");
    if (!hasAccess) {
      return t(
        "This device is no longer paired and shows nothing new. Recording continues. Taps are saved here, and sent once it is paired again.",
      );
    }
    if (!connected) {
      const time = spanText((this.clock.now() - heardMs) / this.clock.rate);
      const away = t("Offline. Readings {time} old.", { time });
      const next = batch === null ? ` ${t("A tap starts a new batch.")}` : "";
      return `${away}${next} ${taps}`;
    }
    if (lost) return `${t("Readings stopped.")} ${lost.reason || t("Is the instrument on?")} ${taps}`;
    return trouble;
  }
}
