// Holds the real TCP sockets, and TLS over them. The interpreter's thread blocks in Atomics.wait until the answer is there.
import net from "node:net";
import tls from "node:tls";
import { workerData } from "node:worker_threads";

const { port, bell: shared } = workerData;
const bell = new Int32Array(shared);
const sockets = new Map();
const waiting = [];

function answer(value) {
  port.postMessage(value);
  Atomics.store(bell, 0, 1);
  Atomics.notify(bell, 0);
}

const state = (held) => ({
  readable: held.received.length > 0 || held.ended || held.error !== null,
  writable: held.connected && held.error === null && held.socket.writableLength < 65536,
  error: held.error,
});

const settled = (wanted) => wanted.some(([id, reading, writing]) => {
  const held = sockets.get(id);
  if (held === undefined) return true;
  const now = state(held);
  return now.error !== null || (reading && now.readable) || (writing && now.writable);
});

function look() {
  const asked = waiting[0];
  if (asked && settled(asked.wanted)) {
    clearTimeout(asked.timer);
    waiting.pop();
    answer(true);
  }
}

function listen(held) {
  held.socket.on("data", (bytes) => { held.received = Buffer.concat([held.received, bytes]); look(); });
  held.socket.on("end", () => { held.ended = true; look(); });
  held.socket.on("error", (error) => { held.error = error.code ?? "EIO"; look(); });
  held.socket.on("close", () => { held.ended = true; look(); });
}

// From when to when every certificate of the chain holds: [ms, ms].
function validity(socket) {
  let [from, to] = [-Infinity, Infinity];
  for (let one = socket.getPeerCertificate(true); one; one = one.issuerCertificate === one ? null : one.issuerCertificate) {
    if (!one.valid_from) break;
    from = Math.max(from, Date.parse(one.valid_from));
    to = Math.min(to, Date.parse(one.valid_to));
    if (one.issuerCertificate?.fingerprint256 === one.fingerprint256) break;
  }
  return [from, to];
}

const ask = {
  open({ id, host, to }) {
    const held = { socket: net.connect({ host, port: to, noDelay: true }), received: Buffer.alloc(0),
      connected: false, ended: false, error: null };
    held.socket.on("connect", () => { held.connected = true; look(); });
    listen(held);
    sockets.set(id, held);
    answer(true);
  },
  // TLS as mbedTLS on a board does it: the server must prove with a certificate signed by `ca` that it is `host`.
  secure({ id, host, ca }) {
    const held = sockets.get(id);
    held.connected = false;
    for (const event of ["data", "end", "error", "close"]) held.socket.removeAllListeners(event);
    const pem = `-----BEGIN CERTIFICATE-----\n${Buffer.from(ca).toString("base64")}\n-----END CERTIFICATE-----\n`;
    held.socket = tls.connect({ socket: held.socket, host, servername: net.isIP(host) ? "" : host, ca: pem,
      rejectUnauthorized: true, maxVersion: "TLSv1.2" });
    held.socket.on("secureConnect", () => { held.connected = true; held.valid = validity(held.socket); look(); });
    listen(held);
    answer(true);
  },
  secured({ id }) {
    const held = sockets.get(id);
    answer({ secure: held.connected, error: held.error ?? (held.ended ? "ECONNRESET" : null), valid: held.valid ?? null });
  },
  state({ id }) { answer(state(sockets.get(id))); },
  send({ id, bytes }) {
    const held = sockets.get(id);
    if (held.error !== null || held.ended) return answer({ error: held.error ?? "EPIPE" });
    held.socket.write(bytes);
    answer({ sent: bytes.length });
  },
  receive({ id, most }) {
    const held = sockets.get(id);
    if (held.received.length === 0) return answer({ error: held.error, ended: held.ended, bytes: null });
    const bytes = held.received.subarray(0, most);
    held.received = held.received.subarray(bytes.length);
    answer({ error: null, ended: false, bytes: Buffer.from(bytes) });
  },
  wait({ wanted, ms }) {
    if (settled(wanted)) return answer(true);
    waiting.push({ wanted, timer: setTimeout(() => { waiting.pop(); answer(false); }, ms) });
  },
  // A probe that loses its power says no goodbye: the broker sees the connection break.
  close({ id, abruptly }) {
    const held = sockets.get(id);
    sockets.delete(id);
    if (held && abruptly && held.socket.resetAndDestroy && !held.socket.encrypted) held.socket.resetAndDestroy();
    else if (held && abruptly) held.socket.destroy();
    else if (held) held.socket.end();
    answer(true);
  },
};

port.on("message", (message) => ask[message.ask](message));
