// Shows what the daemon says; reckons nothing.
const at = (id) => document.getElementById(id);
const show = (id, text) => { if (at(id).textContent !== text) at(id).textContent = text; };
const grams = (g) => (g === null || g === undefined ? "–" : g.toFixed(1) + " g");
let last = 0;

function told(message) {
  if (message.kind !== "now") return;
  last = performance.now();
  show("phase", message.step);
  show("grams", grams(message.batch ? message.net_g : message.scale.mass_g));
  show("goal", message.batch ? `piece ${message.piece} · target ${grams(message.target_g)}` : "");
  show("scale", message.scale.trouble ? `scale ${message.scale.state}: ${message.scale.trouble}` : `scale ${message.scale.state}`);
}

function connect() {
  const socket = new WebSocket(`ws://${location.host}/api/live`);
  socket.onmessage = (event) => told(JSON.parse(event.data));
  socket.onclose = () => setTimeout(connect, 500);
}

setInterval(() => {
  if (performance.now() - last > 1500) {
    show("phase", "no connection to the daemon: stop pouring");
    show("grams", "–");
  }
}, 300);
connect();
