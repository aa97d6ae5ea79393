/** Call whenever the network, the server or whoever looks at the page may be back. */
export function whenBack(act) {
  addEventListener("online", () => act());
  document.addEventListener("visibilitychange", () => document.hidden || act());
  document.addEventListener("serverback", () => act());
}
