// The minimum that echoes a tap: a word on this page at once, and on any other page by the relay.
const echo = document.getElementById('echo');
let taps = 0;
document.getElementById('pad').addEventListener('pointerdown', () => {
  taps += 1;
  echo.textContent = `tapped ${taps}`;
  fetch('/tap', { method: 'POST', body: JSON.stringify({ taps }) });
});
new EventSource('/watch').addEventListener('entry', (event) => { echo.textContent = `heard ${event.data}`; });
document.body.dataset.ready = 'yes';
