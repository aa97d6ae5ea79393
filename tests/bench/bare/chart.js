// The least that draws the chart: embed once, the panels as high as Drumside's, stream a row a second, nothing else.
const host = document.getElementById('curves');
await Bokeh.embed.embed_item(JSON.parse(document.getElementById('figure').textContent), host);
const figure = Bokeh.documents.at(-1);
const panel = (name) => figure.get_model_by_name(name);
const free = Number(host.dataset.height) - panel('lanes').height;
panel('temperatures').height = Math.round(free * 0.68);
panel('rates').height = Math.floor(free * 0.32);
const live = panel('live');
new EventSource('/rows').addEventListener('rows', (event) => live.stream(JSON.parse(event.data)));
document.body.dataset.ready = 'yes';
