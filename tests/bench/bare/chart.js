// The minimum that draws the chart: embeds it once, with panels of Drumside's height, and streams a row a second.
const host = document.getElementById('curves');
await Bokeh.embed.embed_item(JSON.parse(document.getElementById('figure').textContent), host);
const figure = Bokeh.documents.at(-1);
const panel = (name) => figure.get_model_by_name(name);
const free = Number(host.dataset.height) - panel('lanes').height;
panel('temperatures').height = Math.round(free * 0.68);
panel('rates').height = Math.floor(free * 0.32);
panel('time').end = 1320; // minute 15 at two thirds, as on the live page
const live = panel('live');
new EventSource('/rows').addEventListener('rows', (event) => live.stream(JSON.parse(event.data)));
document.body.dataset.ready = 'yes';
