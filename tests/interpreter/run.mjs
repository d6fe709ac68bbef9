// Takes one order a line on stdin, gives one answer a line on stdout; see tests/interpreter/node.py.
import { createInterface } from "node:readline";
import { Awake, Board, PowerCut } from "./board.mjs";
import { Interpreter } from "./interpreter.mjs";

const boards = new Map();
let library = new Map();

const BOOT = `
import sys, os
sys.path[:] = ["", "/lib"]
from fakes import board_time, board_socket, board_select
sys.modules.update({"time": board_time, "socket": board_socket, "select": board_select})
def urandom(count):
    import binascii, bridge
    return binascii.unhexlify(bridge.urandom(count))
os.urandom = urandom
del sys, os, board_time, board_socket, board_select, urandom
`;

const packed = (files) => Object.fromEntries([...files].map(([path, bytes]) => [path, Buffer.from(bytes).toString("base64")]));
const unpacked = (files) => new Map(Object.entries(files ?? {}).map(([path, text]) => [path, Buffer.from(text, "base64")]));
const same = (one, other) => one.size === other.size
  && [...one].every(([path, bytes]) => other.has(path) && Buffer.compare(Buffer.from(bytes), Buffer.from(other.get(path))) === 0);

function boardOf(order) {
  if (!boards.has(order.board)) boards.set(order.board, new Board(order.board));
  return boards.get(order.board);
}

const does = {
  library(order) { library = unpacked(order.files); return {}; },

  board(order) {
    const board = boardOf(order);
    if (order.flash) board.flash = unpacked(order.flash);
    if (order.memory !== undefined) board.rtcMemory = order.memory;
    if (order.reset) board.reset = order.reset;
    if (order.power_lost_ms !== undefined) board.losePower(order.power_lost_ms * 1000);
    return { flash: packed(board.flash), memory: board.rtcMemory };
  },

  // One wake of a board: the code runs as main.py does, on the board's flash and RTC memory, until it sleeps.
  async wake(order) {
    const board = boardOf(order);
    const { script } = order;
    const awake = new Awake(board, script);
    const said = [];
    const line = script.serial ? awake : null;
    const interpreter = await Interpreter.start({ library, flash: board.flash, say: (text) => said.push(text), heap: order.heap, line });
    interpreter.module("bridge", awake.module);
    interpreter.run(BOOT);
    const written = interpreter.guard(script.cut);
    const peak = { live: 0, allocated: 0, samples: 0 };
    for (const code of order.before ?? []) interpreter.run(code);
    if (order.measure) {
      let count = 0;
      peak.before = interpreter.heap().live;
      interpreter.watched(() => {
        if (++count % order.measure) return;
        const now = interpreter.heap();
        peak.samples += 1;
        peak.allocated = Math.max(peak.allocated, now.allocated);
        peak.live = Math.max(peak.live, now.live);
      });
    }
    let error = null;
    let cut = false;
    const began = performance.now();
    try {
      for (const code of order.code) interpreter.run(code);
    } catch (problem) {
      if (problem instanceof PowerCut) cut = true;
      else if (problem.name !== "PythonError" || !["Ended", "SystemExit"].includes(problem.type)) error = String(problem.stack ?? problem.message);
    } finally {
      interpreter.watched(null);
      awake.end(cut);
    }
    const wasWatchdog = cut && awake.ended?.why === "watchdog";
    const flash = cut && !wasWatchdog && script.cut?.unsynced ? new Map(interpreter.synced) : interpreter.flash();
    const changed = !same(flash, board.flash);
    board.flash = flash;
    const endedUs = awake.nowUs;
    if (cut && !wasWatchdog) board.losePower(endedUs);
    else board.reset = awake.ended?.why ?? "reset";
    return {
      ended: cut && !wasWatchdog ? "power cut" : awake.ended?.why ?? (error ? "error" : "over"),
      sleep_ms: awake.ended?.ms ?? 0, awake_ms: awake.awakeUs / 1000, real_ms: performance.now() - began,
      waited_ms: awake.realMs, calls: awake.calls, written, error, said, changed,
      flash: changed || order.dump ? packed(flash) : null, memory: board.rtcMemory, peak,
      radio_ms: awake.radioUs / 1000, heard_time: awake.heardTime,
    };
  },

  // Code in an interpreter of its own; `cases` one after the other in the same one.
  async run(order) {
    const said = [];
    const interpreter = await Interpreter.start({ library, flash: unpacked(order.flash), say: (text) => said.push(text), heap: order.heap });
    const awake = new Awake(new Board("f412fa000000"), order.script ?? { now_ms: 0 });
    interpreter.module("bridge", awake.module);
    interpreter.run(BOOT);
    interpreter.guard(order.cut);
    let error = null;
    try {
      for (const code of order.code) interpreter.run(code);
    } catch (problem) {
      error = problem instanceof PowerCut ? "power cut" : String(problem.message);
    }
    awake.end(false);
    return { said, error, flash: packed(interpreter.flash()) };
  },
};

const lines = createInterface({ input: process.stdin, crlfDelay: Infinity });
for await (const line of lines) {
  let answer;
  try {
    const order = JSON.parse(line);
    answer = await does[order.do](order);
  } catch (problem) {
    answer = { broken: String(problem.stack ?? problem) };
  }
  process.stdout.write(`${JSON.stringify(answer)}\n`);
}
process.exit(0);
