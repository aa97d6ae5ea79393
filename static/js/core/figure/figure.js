// A Bokeh figure of ours: embedded once with its data, coloured by the page's theme, its parts found by the names that
// the server gave.
const swatch = document.createElement("span");
swatch.hidden = true;

/**
 * A colour token in a form that the canvas accepts, whatever its form in the style sheet.
 * @param {string} token
 */
export function color(token) {
  if (!swatch.isConnected) document.body.append(swatch);
  swatch.style.color = `var(--${token})`;
  return getComputedStyle(swatch).color;
}

/**
 * @param {Map<string, string> | Record<string, string>} tag
 * @returns {[string, string][]}
 */
const tagged = (tag) => (tag instanceof Map ? [...tag] : Object.entries(tag));

export class Figure {
  /** @param {BokehDocument} bokehDocument */
  constructor(bokehDocument) {
    this.document = bokehDocument;
    const models = [...bokehDocument.all_models];
    this.themed = models.filter((model) => model.tags?.length);
    this.ends = models.filter((model) => model.type === "ColumnDataSource" && "token" in model.data);
  }

  /**
   * @param {string} name
   * @returns {any}
   */
  get(name) {
    return this.document.get_model_by_name(name);
  }

  /** The panels of temperatures and rates: at equal temperature, a comparison has only the latter. */
  get panels() {
    return ["temperatures", "rates"].map((name) => this.get(name)).filter(Boolean);
  }

  /** Set every tagged property to the colour of its token, and the colour of each end label. */
  paint() {
    const paint = palette();
    for (const model of this.themed) {
      for (const tag of model.tags) {
        for (const [property, token] of tagged(tag)) model[property] = paint(token);
      }
    }
    for (const ends of this.ends) ends.data = { ...ends.data, color: [...ends.data.token].map(paint) };
  }

  /**
   * Divide a height between the panels; the ribbon gets the height of its lanes, and with lanes of 0 px it is left out.
   * @param {number} heightPx
   * @param {number} lanePx
   */
  fit(heightPx, lanePx) {
    const lanes = this.get("lanes");
    const lanesPx = lanes && lanePx ? lanes.y_range.end * lanePx + 6 : 0;
    if (lanes) lanes.visible = lanesPx > 0;
    const ratesPx = Math.floor((heightPx - lanesPx) * 0.33);
    const tempsPx = heightPx - lanesPx - ratesPx;
    if (lanesPx) lanes.height = lanesPx;
    this.get("temperatures").height = tempsPx;
    this.get("rates").height = ratesPx;
  }

  /**
   * Call `act` once the panels have their sizes, and whenever these change.
   * @param {() => void} act
   */
  onLayout(act) {
    let isDue = false;
    const later = () => {
      if (isDue) return;
      isDue = true;
      queueMicrotask(() => {
        isDue = false;
        act();
      });
    };
    for (const { properties } of this.panels) {
      for (const size of [properties.inner_width, properties.inner_height]) size.change.connect(later);
    }
    act();
  }
}

/**
 * @param {any} model
 * @param {string} type
 * @param {object} named
 */
const isOf = (model, type, named) =>
  model.type === "object" && model.name === type && Object.hasOwn(named, model.attributes?.name);

/** The colours of the page's theme by their tokens, each looked up once. */
function palette() {
  /** @type {Map<string, string>} */
  const colors = new Map();
  return (/** @type {string} */ token) => {
    if (!colors.has(token)) colors.set(token, color(token));
    return /** @type {string} */ (colors.get(token));
  };
}

/**
 * Set the colour of each end label by its token.
 * @param {[string, any][]} columns
 * @param {(token: string) => string} paint
 */
function paintColumn(columns, paint) {
  const tokens = columns.find(([name]) => name === "token")?.[1];
  const colors = columns.find(([name]) => name === "color");
  if (tokens && colors) colors[1] = tokens.map(paint);
}

/**
 * Fill the sources and ranges of a json_item by their names (roastlog/plot/drawing.py), and set the colours of the
 * theme: a colour that is set on a model that is shown makes Bokeh prepare its data anew.
 * @param {any} part
 * @param {Drawing["data"]} data
 * @param {(token: string) => string} paint
 */
function fill(part, data, paint) {
  if (part === null || typeof part !== "object") return;
  const { attributes } = part;
  if (isOf(part, "ColumnDataSource", data.sources)) {
    attributes.data.entries = [...new Map([...attributes.data.entries, ...data.sources[attributes.name]])];
  } else if (isOf(part, "Range1d", data.ranges)) {
    [attributes.start, attributes.end] = data.ranges[attributes.name];
  }
  for (const { entries } of attributes?.tags ?? []) {
    for (const [property, token] of entries) attributes[property] = paint(token);
  }
  if (part.type === "object" && part.name === "ColumnDataSource") paintColumn(attributes.data.entries, paint);
  for (const inner of Object.values(part)) fill(inner, data, paint);
}

/**
 * Embed a drawing of the server, a json_item and its data, in an element; resolves to the themed figure.
 * @param {Drawing} drawing
 * @param {HTMLElement} host
 */
export async function embed({ item, data }, host) {
  fill(item, data, palette());
  const views = await Bokeh.embed.embed_item(item, host);
  const figure = new Figure([...views][0].model.document);
  document.addEventListener("themechange", () => figure.paint());
  return figure;
}
