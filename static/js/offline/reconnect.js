/**
 * Call `act` whenever the network, the server or the person may be back.
 * @param {() => void} act
 */
export function onReconnect(act) {
  addEventListener("online", () => act());
  document.addEventListener("visibilitychange", () => document.hidden || act());
  document.addEventListener("serverback", () => act());
}
