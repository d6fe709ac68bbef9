// One board on the bench: flash, RTC memory, clock, radio and air as the script of a wake has them.
//
// Time is the board's own: a sleep costs nothing, waiting for a real socket costs what it really took, and a
// peer that the script has fallen silent is waited for at once. So a fortnight takes minutes and every
// wait of the firmware is still measured against its budget.
import { randomBytes } from "node:crypto";
import * as tcp from "./tcp.mjs";

export class PowerCut extends Error {}

const FROM_1970_MS = 946_684_800_000; // to 2000, where a board's calendar begins
const NOT_TRUSTED = "The certificate is not correctly signed by the trusted CA"; // mbedTLS's own words
const REFUSED = {
  ERR_TLS_CERT_ALTNAME_INVALID: "The certificate Common Name (CN) does not match with the expected CN",
  CERT_HAS_EXPIRED: "The certificate validity has expired",
  CERT_NOT_YET_VALID: "The certificate validity starts in the future",
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: NOT_TRUSTED,
  UNABLE_TO_GET_ISSUER_CERT_LOCALLY: NOT_TRUSTED,
  SELF_SIGNED_CERT_IN_CHAIN: NOT_TRUSTED,
  DEPTH_ZERO_SELF_SIGNED_CERT: NOT_TRUSTED,
  CERT_SIGNATURE_FAILURE: NOT_TRUSTED,
};
const STDIN = 0; // the interpreter's own standard input and output are the board's USB line
const CALL_US = 40; // what asking the hardware anything takes
const LONGEST_REAL_WAIT_MS = 20_000;

export class Board {
  constructor(id) {
    this.id = id;
    this.flash = new Map();
    this.rtcMemory = "";
    this.clock = null; // the clock showed `showsUs` since 2000 when it truly was `atUs`
    this.rate = 1;
    this.reset = "power on";
  }

  losePower(nowUs) {
    this.rtcMemory = "";
    this.clock = { atUs: nowUs, showsUs: 0 };
    this.reset = "power on";
  }

  // From now on the clock runs this fast.
  runAt(rate, nowUs) {
    this.clock = { atUs: nowUs, showsUs: this.clockUs(nowUs) };
    this.rate = rate;
  }

  clockUs(nowUs) {
    this.clock ??= { atUs: nowUs, showsUs: 0 }; // fresh from the bench
    return this.clock.showsUs + (nowUs - this.clock.atUs) * this.rate;
  }
}

// What the fakes ask while the interpreter is awake. Arguments and answers are small integers and strings:
// integers above 31 bits would be cut in half on their way.
export class Awake {
  constructor(board, script) {
    this.board = board;
    this.script = script;
    this.startUs = script.now_ms * 1000;
    this.awakeUs = 0;
    this.beganMs = performance.now(); // where `script.live`, time on the board passes as it does here
    if (script.rate) board.runAt(script.rate, this.startUs);
    this.calls = 0;
    this.written = 0;
    this.sockets = new Map();
    this.latest = 0;
    this.ended = null;
    this.realMs = 0;
    this.wifiUpUs = null;
    this.associated = false;
    this.radioUs = 0; // from connecting to the network until leaving it
    this.heardTime = false; // from a time server, or from the host in answer to this wake's own question
    this.asksTime = null;
    if (script.serial) this.plugIn(script.serial);
    const self = this;
    this.module = Object.fromEntries(
      ["ticks_us", "sleep_us", "clock", "clock_us", "set_clock", "memory", "set_memory", "bench", "ends",
        "wifi", "wifi_status", "tcp_open", "udp_open", "sock_state", "sock_send", "sock_receive", "sock_connect",
        "sock_close", "sock_secure", "sock_shaken", "poll", "reset_cause", "fed", "unique_id", "lookup", "urandom"].map((name) => [name, (...given) => {
        self.tick();
        return self[name](...given);
      }]),
    );
  }

  get nowUs() { return this.startUs + this.awakeUs; }

  tick() {
    this.flushSerial();
    this.calls += 1;
    this.awakeUs += CALL_US;
    if (this.unplugged || this.script.cut?.calls === this.calls) throw new PowerCut("power cut");
    if (this.awakeUs > (this.script.cut?.ms ?? Infinity) * 1000) throw new PowerCut("power cut");
    if (this.watchdogUs && this.awakeUs - this.fedUs > this.watchdogUs) {
      this.ended = { why: "watchdog" };
      throw new PowerCut("watchdog");
    }
    if (this.awakeUs > 3_600_000_000) throw new Error("The firmware has been awake for an hour");
  }

  // Time
  ticks_us() { return Math.floor(this.awakeUs) % 0x40000000; }
  sleep_us(us) { this.pass(us); }
  pass(us) {
    // In a loop of short sleeps that waits for a real peer, let the peer have the time it really needs.
    const live = [...this.sockets.values()].filter((one) => one.real && !one.silent && !this.readable(one));
    // `script.pace` is how much of it: minutes of listening to a silent line need not last minutes.
    this.owedMs = (this.owedMs ?? 0) + (us / 1000) * (this.script.pace ?? 1);
    if (live.length && us >= 1000 && this.owedMs >= 1) {
      const began = performance.now();
      tcp.call("wait", { wanted: live.map((one) => [one.real, true, one.connecting === true]),
        ms: Math.min(this.owedMs, LONGEST_REAL_WAIT_MS) });
      this.owedMs = 0;
      this.realMs += performance.now() - began;
    }
    this.awakeUs += us;
    if (this.script.live) this.awakeUs = Math.max(this.awakeUs, (performance.now() - this.beganMs) * 1000);
  }
  // The USB line: a terminal that tests/interpreter/terminal.py holds at the other end of a TCP connection. When it
  // is pulled out, the power goes with it.
  plugIn([host, port]) {
    const real = tcp.open(host, port);
    tcp.call("wait", { wanted: [[real, false, true]], ms: 10_000 });
    this.sockets.set(STDIN, { kind: "tcp", real, silent: false, sent: 0, got: 0 });
    this.typed = Buffer.alloc(0);
    this.printed = [];
  }
  type() { // one byte for the interpreter's standard input; null when there is none
    const one = this.sockets.get(STDIN);
    if (one === undefined) return null;
    if (this.typed.length === 0) {
      const answer = tcp.call("receive", { id: one.real, most: 4096 });
      if (answer.bytes === null) {
        this.unplugged ||= answer.ended || answer.error !== null;
        return null;
      }
      this.typed = Buffer.from(answer.bytes);
    }
    const byte = this.typed[0];
    this.typed = this.typed.subarray(1);
    return byte;
  }
  print(bytes) { this.printed?.push(...bytes); }
  flushSerial() {
    if (!this.printed?.length) return;
    tcp.call("send", { id: this.sockets.get(STDIN).real, bytes: Buffer.from(this.printed) });
    this.printed = [];
  }
  clock() { return Math.floor(this.board.clockUs(this.nowUs) / 1e6); }
  clock_us() { return Math.floor(this.board.clockUs(this.nowUs) % 1e6); }
  set_clock(seconds, us) { this.board.clock = { atUs: this.nowUs, showsUs: seconds * 1e6 + us }; }

  // Chip
  memory() { return this.board.rtcMemory; }
  set_memory(hex) { this.board.rtcMemory = hex; }
  reset_cause() { return this.board.reset; }
  unique_id() { return this.board.id; }
  fed(us) { this.watchdogUs = us || this.watchdogUs; this.fedUs = this.awakeUs; }
  bench() { return JSON.stringify(this.script.bench ?? {}); }
  ends(why, ms) { this.ended = { why, ms }; }
  urandom(count) { return randomBytes(count).toString("hex"); }

  // Wi-Fi: "up" after a while, "silent" (never an answer) or "refused" (wrong password)
  wifi(on) {
    if (this.associated) this.radioUs += this.nowUs - this.radioSinceUs;
    this.radioSinceUs = this.nowUs;
    this.associated = on;
    this.wifiUpUs = on ? this.nowUs + 1000 * (this.script.wifi_ms ?? 700) : null;
  }
  wifi_status() {
    if (!this.associated) return "idle";
    const how = this.script.wifi ?? "up";
    if (how === "silent") return "connecting";
    if (this.nowUs < this.wifiUpUs) return "connecting";
    return how === "up" ? "up" : "refused";
  }
  get online() { return this.wifi_status() === "up"; }
  lookup(host) {
    if (!this.online || (this.script.lookup ?? "up") !== "up") {
      this.awakeUs += 1000 * (this.script.lookup_ms ?? 5000); // lwIP gives up after its own time
      return "";
    }
    return (this.script.hosts ?? {})[host] ?? host;
  }

  // Sockets. A script's "broker" is: up, refused, silent (nothing is answered), deaf after N bytes received
  // (`replies_after`: what comes later is swallowed) torn (`tear_after`: broken after N bytes sent) or out of
  // reach (`swallow_after`: later bytes are taken and go nowhere).
  tcp_open() { this.sockets.set(++this.latest, { kind: "tcp", real: 0, silent: false, sent: 0, got: 0 }); return this.latest; }
  udp_open() { this.sockets.set(++this.latest, { kind: "udp", due: [] }); return this.latest; }
  sock_connect(id, host, port) {
    const one = this.sockets.get(id);
    if (!this.online) return "EHOSTUNREACH";
    const how = this.script.broker ?? "up";
    one.connecting = true;
    if (how === "refused") { one.torn = "ECONNREFUSED"; return ""; }
    if (how === "silent") one.silent = true;
    else one.real = tcp.open(host, port);
    return "";
  }
  readable(one) {
    if (one.kind === "udp") return one.due.some(([at]) => at <= this.nowUs);
    if (one.torn || (one === this.sockets.get(STDIN) && this.typed.length)) return true;
    if (one.silent || !one.real) return false;
    return tcp.call("state", { id: one.real }).readable;
  }
  writable(one) {
    if (one.kind === "udp" || one.torn) return true;
    if (one.silent) return one.connected === true;
    if (!one.real) return false;
    const state = tcp.call("state", { id: one.real });
    if (state.writable) { one.connected = true; one.connecting = false; }
    return state.writable || state.error !== null;
  }
  failed(one) {
    if (one.torn) return one.torn;
    return one.real && !one.silent ? tcp.call("state", { id: one.real }).error ?? "" : "";
  }
  sock_state(id) {
    const one = this.sockets.get(id);
    if (!one) return ""; // standard input, on which nobody types
    return [this.readable(one) ? "r" : "", this.writable(one) ? "w" : "", this.failed(one) ? "e" : ""].join("");
  }
  sock_send(id, hex, host, port) {
    const one = this.sockets.get(id);
    const bytes = Buffer.from(hex, "hex");
    if (one.kind === "udp") {
      const asked = { 123: "ntp", 53: "dns", 5353: "dns" }[port];
      if (this.online && asked && (this.script[asked] ?? "up") === "up") one.due.push([this.nowUs + 30_000, this[asked](bytes), asked]);
      return bytes.length;
    }
    if (one.torn) return one.torn;
    if (!this.writable(one)) return "EAGAIN";
    if (one.silent) return bytes.length;
    const lost = this.script.swallow_after ?? Infinity;
    if (one.sent >= lost) {
      one.silent = one.connected = true;
      return bytes.length;
    }
    const room = Math.min(lost, this.script.tear_after ?? Infinity) - one.sent;
    const most = Math.min(bytes.length, 1460, room); // as lwIP: a send may take less than was given
    this.asksTime = /"asks_time": (\d+)/.exec((one.said = ((one.said ?? "") + bytes.toString("latin1")).slice(-120)))?.[1]
      ?? this.asksTime;
    if (most > 0) {
      const answer = tcp.call("send", { id: one.real, bytes: bytes.subarray(0, most) });
      if (answer.error) return answer.error;
      one.sent += most;
    }
    if (one.sent >= (this.script.tear_after ?? Infinity)) this.tear(one);
    return most > 0 ? most : "ECONNRESET";
  }
  // The build of MicroPython for WebAssembly has no TLS: the worker speaks it, the board's calendar judges its dates.
  sock_secure(id, host, ca) {
    const one = this.sockets.get(id);
    one.tls = one.connecting = true;
    if (one.real && !one.silent) tcp.call("secure", { id: one.real, host, ca: Buffer.from(ca, "hex") });
  }
  // "" while hands are shaken, "secure", "!" and why not in mbedTLS's words, or the number of an error
  sock_shaken(id) {
    const one = this.sockets.get(id);
    if (one.torn) return one.torn;
    if (one.silent || !one.real) return "";
    const { secure, error, valid } = tcp.call("secured", { id: one.real });
    if (error) return REFUSED[error] ? `!${REFUSED[error]}` : error;
    if (!secure) return "";
    const today = this.board.clockUs(this.nowUs) / 1000 + FROM_1970_MS;
    if (today < valid[0]) return `!${REFUSED.CERT_NOT_YET_VALID}`;
    if (today > valid[1]) return `!${REFUSED.CERT_HAS_EXPIRED}`;
    one.connecting = false;
    return "secure";
  }
  tear(one) { one.torn = "ECONNRESET"; tcp.call("close", { id: one.real, abruptly: true }); one.real = 0; }
  sock_receive(id, most) {
    const one = this.sockets.get(id);
    if (one.kind === "udp") {
      const at = one.due.findIndex(([due]) => due <= this.nowUs);
      if (at < 0) return "EAGAIN";
      const [[, bytes, kind]] = one.due.splice(at, 1);
      if (kind === "ntp") this.heardTime = true;
      return `=${bytes.subarray(0, most).toString("hex")}`;
    }
    if (one.torn) return one.torn;
    if (one.silent || !one.real) return "EAGAIN";
    const room = (this.script.replies_after ?? Infinity) - one.got;
    if (room <= 0) { one.silent = true; one.connected = true; return "EAGAIN"; }
    const answer = tcp.call("receive", { id: one.real, most: Math.min(most, room) });
    if (answer.bytes === null) return answer.error ?? (answer.ended ? "=" : "EAGAIN");
    one.got += answer.bytes.length;
    one.heard = ((one.heard ?? "") + Buffer.from(answer.bytes).toString("latin1")).slice(-120);
    const told = /"asked":(\d+),"time_ms":\d+}/.exec(one.heard);
    if (told !== null && told[1] === this.asksTime) this.heardTime = true;
    if (one.got >= (this.script.replies_after ?? Infinity)) { one.silent = true; one.connected = true; }
    return `=${Buffer.from(answer.bytes).toString("hex")}`;
  }
  sock_close(id, abruptly = false) {
    const one = this.sockets.get(id);
    this.sockets.delete(id);
    if (one?.real) tcp.call("close", { id: one.real, abruptly: abruptly || one.silent });
  }
  ntp(asked) {
    const reply = Buffer.alloc(48);
    reply[0] = 0x24;
    reply[1] = 2;
    asked.copy(reply, 24, 40, 48); // originate = the client's transmit time
    for (const at of [32, 40]) {
      const us = this.nowUs + 15_000 + 1000 * (this.script.ntp_out_ms ?? 0);
      reply.writeUInt32BE(Math.floor(us / 1e6) + 2208988800, at);
      reply.writeUInt32BE(Math.floor(((us % 1e6) / 1e6) * 2 ** 32), at + 4);
    }
    return reply;
  }

  dns(asked) {
    const labels = [];
    let at = 12;
    for (; asked[at]; at += 1 + asked[at]) labels.push(asked.toString("latin1", at + 1, at + 1 + asked[at]));
    const address = (this.script.hosts ?? {})[labels.join(".")];
    const head = Buffer.from(asked.subarray(0, 12));
    head.writeUInt16BE(address ? 0x8180 : 0x8183, 2);
    head.writeUInt16BE(address ? 1 : 0, 6);
    const answer = Buffer.from([0xc0, 12, 0, 1, 0, 1, 0, 0, 0, 60, 0, 4, ...(address ?? "").split(".").map(Number)]);
    return Buffer.concat([head, asked.subarray(12, at + 5), address ? answer : Buffer.alloc(0)]);
  }

  // "id:rw,id:r" → the same for what is ready; waits up to `ms`, for ever when negative
  poll(wanted, ms) {
    const asked = wanted.split(",").filter(Boolean).map((each) => each.split(":"));
    const untilUs = ms < 0 ? Infinity : this.awakeUs + ms * 1000;
    for (;;) {
      const ready = asked.map(([id, how]) => {
        const is = this.sock_state(Number(id));
        return [id, [...is].filter((c) => c === "e" || how.includes(c)).join("")];
      }).filter(([, is]) => is !== "");
      if (ready.length || this.awakeUs >= untilUs) return ready.map(([id, is]) => `${id}:${is}`).join(",");
      const ones = asked.map(([id]) => this.sockets.get(Number(id))).filter(Boolean);
      const live = asked.filter(([id]) => { const one = this.sockets.get(Number(id)); return one?.real && !one.silent; });
      const nextUs = Math.min(untilUs, ...ones.flatMap((one) => (one.due ?? []).map(([at]) => at - this.startUs)));
      if (live.length === 0) {
        if (nextUs === Infinity) throw new Error("The firmware waits for ever");
        this.awakeUs = Math.max(nextUs, this.awakeUs + CALL_US);
        continue;
      }
      const real = live.map(([id, how]) => [this.sockets.get(Number(id)).real, how.includes("r"), how.includes("w")]);
      const began = performance.now();
      tcp.call("wait", { wanted: real, ms: Math.min((nextUs - this.awakeUs) / 1000, LONGEST_REAL_WAIT_MS) });
      const took = performance.now() - began;
      this.realMs += took;
      this.awakeUs += Math.max(CALL_US, took * 1000);
    }
  }

  end(abruptly) {
    this.flushSerial();
    for (const id of [...this.sockets.keys()]) this.sock_close(id, abruptly);
  }
}
