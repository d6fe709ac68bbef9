// Blocking calls to real TCP sockets that a worker thread holds.
import { MessageChannel, Worker, receiveMessageOnPort } from "node:worker_threads";

const bell = new Int32Array(new SharedArrayBuffer(4));
const { port1: port, port2 } = new MessageChannel();
const worker = new Worker(new URL("./tcp-worker.mjs", import.meta.url), {
  workerData: { port: port2, bell: bell.buffer }, transferList: [port2],
});
worker.unref();
port.unref();
let latest = 0;

export function call(ask, fields = {}) {
  Atomics.store(bell, 0, 0);
  port.postMessage({ ask, ...fields });
  for (;;) {
    const answer = receiveMessageOnPort(port);
    if (answer !== undefined) return answer.message;
    if (Atomics.wait(bell, 0, 0, 60_000) === "timed-out") throw new Error(`The TCP worker did not answer ${ask}`);
    Atomics.store(bell, 0, 0);
  }
}

export function open(host, to) {
  const id = ++latest;
  call("open", { id, host, to });
  return id;
}
