// The three numbers and the strip: plain text, touched only where it changes, grey when the last reading is old.
import { span } from "../../core/duration.js";
import { stopwatch } from "../../core/clock.js";
import { degrees, rate as perMinute } from "../../core/units.js";
import { decimal, t } from "../../core/words.js";

const OLD_MS = 3000;
const READ_AGAIN_MS = 60_000; // a person reads a thermometer now and then
const $ = (id) => document.getElementById(id);

/** Set text only if it differs: an equal text would be laid out again for nothing. */
export function say(element, text) {
  if (element.said === text) return;
  element.said = text;
  element.textContent = text;
}

export class Numbers {
  constructor({ state, clock, channel }) {
    Object.assign(this, { state, clock, channel: channel.id, channelShort: channel.short });
    this.byHand = channel.by_hand;
    this.surface = state.view.channels.find(({ role, id }) => role === "bean_surface" && id !== channel.id);
    this.probe = channel.role === "bean_probe" ? t("probe") : channel.short;
    this.rateOf = this.probe;
    this.at = null;
    this.temp = null;
    this.rateC = null;
    this.parts = Object.fromEntries(["three", "temp", "rate", "rate-label", "clock", "clock-label", "clock-of", "age", "phase"].map((id) => [id, $(id)]));
  }

  reading({ at_ms: atMs, values, heard_ms: heard, rates }) {
    this.at = heard?.[this.channel] ?? atMs; // other channels may go on where this one is lost
    const value = values[this.channel];
    if (Number.isFinite(value)) this.temp = value;
    say(this.parts.temp, this.temp === null ? "–" : degrees(this.temp));
    this.#rate(rates ?? {});
  }

  /** The probe's rate; while that one settles, the infrared reading's, which can be believed sooner. The label says whose. */
  #rate(rates) {
    const infrared = this.surface && rates[this.surface.id];
    const sooner = rates[this.channel]?.state === "settling" && infrared?.state === "ok";
    const rate = sooner ? infrared : rates[this.channel];
    this.rateOf = sooner ? t("surface") : this.probe;
    const known = rate && Number.isFinite(rate.rate) && rate.state !== "settling";
    this.rateC = known ? rate.rate : null;
    say(this.parts.rate, known ? perMinute(rate.rate) : "–");
    const error = known && Number.isFinite(rate.error) ? ` ± ${perMinute(rate.error)}` : "";
    const channel = `${this.rateOf[0].toUpperCase()}${this.rateOf.slice(1)}`;
    const label = this.byHand ? undefined : { settling: t("{channel} rate, settling", { channel }), held: t("{channel} rate, held", { channel }) }[rate?.state];
    say(this.parts["rate-label"], label ?? t("{channel} rate", { channel }) + error);
  }

  /** The clocks and the age; called a few times a second. */
  tick() {
    const { parts, state } = this;
    const now = this.clock.now();
    const idle = state.phase === "idle";
    const end = state.atMs("drop") ?? now;
    const crack = idle ? null : state.atMs("first_crack");
    const total = idle ? null : state.since(end);
    const developed = crack !== null && total !== null && end >= crack && state.since(crack) > 0;
    say(parts["clock-label"], developed ? t("Development") : t("Since charge"));
    say(parts.clock, developed ? stopwatch((end - crack) / 1000) : total === null ? "–:––" : stopwatch(total));
    const ratio = developed && total > 0 ? (100 * (end - crack)) / (total * 1000) : 0;
    say(parts["clock-of"], developed ? `${decimal(ratio.toFixed(1))} %\n` + t("of {time}", { time: stopwatch(total) }) : "");
    this.#age(now);
  }

  #age(now) {
    const { connected, heardMs } = this.state;
    const at = this.at ?? (connected ? null : heardMs); // a page that was kept: as old as what it shows
    const age = at === null ? null : Math.max(0, (now - at) / this.clock.rate);
    const old = age === null || age > (this.byHand ? READ_AGAIN_MS : OLD_MS);
    if (this.old !== old) this.parts.three.classList.toggle("old", (this.old = old));
    if (this.byHand && age > READ_AGAIN_MS) say(this.parts.age, t("{time} old: read it again", { time: span(age) }));
    else say(this.parts.age, age === null ? t("no reading") : age < 1000 ? "<1 s" : t("{time} old", { time: span(age) }));
  }

  /** Phase, or what is lost: a dead link and a dead stream are said in words. */
  strip({ links, trouble = "" }) {
    const { connected, letIn, heardMs, batch } = this.state;
    const lost = (links ?? []).find((link) => link.state === "lost");
    const bad = (this.bad = !connected || Boolean(lost || trouble));
    const short = lost ? t("▲ lost: {name}", { name: lost.name }) : trouble && t("▲ see below");
    say(this.parts.phase, (connected ? short : letIn ? t("▲ no server") : t("▲ not let in")) || this.state.phaseWord);
    this.parts.phase.classList.toggle("bad", bad);
    $("trouble").hidden = !bad;
    const old = span((this.clock.now() - heardMs) / this.clock.rate);
    const next = batch === null ? ` ${t("A tap begins a new batch.")}` : "";
    const taps = t("Taps still count: they are kept with their times. It is tried again by itself.");
    const away = t("The server is out of reach; what stands here is {time} old.", { time: old });
    $("let-in").hidden = letIn;
    if (!letIn) say($("trouble-said"), t("This device is not let in any more: it hears nothing new. Recording goes on. What was tapped here waits, and is sent once it is let in again."));
    else if (!connected) say($("trouble-said"), `${away}${next} ${taps}`);
    else if (lost) say($("trouble-said"), `${t("Readings stopped.")} ${lost.reason || t("Is the instrument on?")} ${taps}`);
    else if (trouble) say($("trouble-said"), trouble);
  }
}
