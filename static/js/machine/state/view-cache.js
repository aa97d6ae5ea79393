// The newest view of each machine that this device saw, for a page that the worker kept before it.
const key = (id) => `drumside-view-${id}`;

/** The view that a page begins with: what was seen since that page was kept, if anything. */
export function newest(view) {
  if (!document.documentElement.dataset.keptMs) return { view, heardMs: view.now_ms };
  try {
    const seen = JSON.parse(localStorage.getItem(key(view.machine.id)));
    // Machine, channels and controls stay those that the page was made with.
    const { machine, channels, controls } = view;
    if (seen.view.now_ms > view.now_ms) return { view: { ...seen.view, machine, channels, controls }, heardMs: seen.heardMs };
  } catch { /* nothing, or no storage: the page's own */ }
  return { view, heardMs: view.now_ms };
}

/** Keep what is seen, and until when it was known to be right. */
export function remember(state) {
  const keep = () => {
    try {
      localStorage.setItem(key(state.view.machine.id), JSON.stringify({ view: state.view, heardMs: state.heardMs }));
    } catch { /* a page that is opened without a network shows an older one */ }
  };
  state.addEventListener("seen", keep);
  addEventListener("pagehide", () => {
    state.hear(state.connected);
    keep();
  });
}
