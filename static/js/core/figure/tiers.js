// Heights of the labels at the top of a panel: in lines, so that none overprints another.

/** Heights of the lines, as shares of the panel: as in roastlog/plot/overlays.py. */
export const TIERS = [1, 0.915, 0.83];

/** The lines of a panel, and how far each is taken. */
export class Tiers {
  #free = TIERS.map(() => -Infinity);

  /**
   * The height of a label from one time to another: the first free line, else the one that is free soonest.
   * @param {number} fromS
   * @param {number} toS
   */
  place(fromS, toS) {
    const free = this.#free.findIndex((untilS) => untilS <= fromS);
    const tier = free >= 0 ? free : this.#free.indexOf(Math.min(...this.#free));
    this.#free[tier] = toS;
    return TIERS[tier];
  }
}
