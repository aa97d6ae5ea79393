// In place of BokehJS where no test looks at a chart: one that is still being drawn, for as long as the page is open.
window.Bokeh = { undrawn: true, embed: { embed_item: () => new Promise(() => {}) } };
