// A genuine MicroPython interpreter, new for every wake, over a flash image that outlives it.
import { loadMicroPython } from "@micropython/micropython-webassembly-pyscript/micropython.mjs";
import { PowerCut } from "./board.mjs";
import { findAreas, mark } from "./heap.mjs";

const SYSTEM = new Set(["tmp", "home", "dev", "proc", "lib"]);

// Compile the interpreter once, and keep hold of its memory, which it does not offer.
let compiled = null;
let memory = null;
let watch = null; // called many times in everything the interpreter does
const instantiate = WebAssembly.instantiate;
WebAssembly.instantiate = async (source, imports) => {
  compiled ??= await WebAssembly.compile(source);
  // Emscripten calls whatever may raise through these, so they are as good as a hook in the byte code's loop.
  for (const [name, original] of Object.entries(imports.env)) {
    if (name.startsWith("invoke_")) imports.env[name] = (...given) => { if (watch) watch(); return original(...given); };
  }
  const instance = await instantiate(compiled, imports);
  memory = Object.values(instance.exports).find((one) => one instanceof WebAssembly.Memory) ?? null;
  return { instance, module: compiled };
};

function folders(path) {
  const parts = path.split("/").slice(1, -1);
  return parts.map((_, depth) => `/${parts.slice(0, depth + 1).join("/")}`);
}

function put(FS, path, bytes) {
  for (const folder of folders(path)) if (!FS.analyzePath(folder).exists) FS.mkdir(folder);
  FS.writeFile(path, bytes);
}

function walk(FS, folder, found) {
  for (const name of FS.readdir(folder)) {
    if (name === "." || name === ".." || (folder === "/" && SYSTEM.has(name))) continue;
    const path = folder === "/" ? `/${name}` : `${folder}/${name}`;
    if (FS.isDir(FS.stat(path).mode)) walk(FS, path, found);
    else found.set(path, FS.readFile(path));
  }
  return found;
}

export class Interpreter {
  // `library`: path → text or bytes, put below /lib. `flash`: path → bytes. `say(text)` takes what is printed.
  // `line`: instead, a line with `type()` and `print(bytes)` that is its standard input and output byte by byte.
  static async start({ library, flash = new Map(), say = () => {}, heap = 256 * 1024, line = null }) {
    const self = new Interpreter();
    const streams = line === null ? { stdout: say, linebuffer: true }
      : { stdin: () => line.type(), stdout: (bytes) => line.print(bytes), linebuffer: false };
    self.mp = await loadMicroPython({ heapsize: heap, stderr: () => {}, ...streams });
    self.memory = memory;
    const { FS } = self.mp;
    for (const [path, content] of library) put(FS, `/lib/${path}`, content);
    for (const [path, content] of flash) put(FS, path, content);
    self.synced = new Map(flash);
    return self;
  }

  module(name, functions) { this.mp.registerJsModule(name, functions); }
  run(code) { return this.mp.runPython(code); }
  flash() { return walk(this.mp.FS, "/", new Map()); }

  // Counts what is written to flash and cuts the power at byte `cut.bytes`, or before change `cut.changes`
  // (opening to write, renaming, removing). `cut.unsynced` loses what was not yet closed or flushed.
  guard(cut = {}) {
    const { FS } = this.mp;
    const counted = { bytes: 0, changes: 0 };
    const outside = (stream) => stream.path && stream.path.startsWith("/") && !SYSTEM.has(stream.path.split("/")[1]);
    const probe = FS.open("/tmp/guard", "w");
    const operations = probe.stream_ops;
    FS.close(probe);
    const write = operations.write;
    operations.write = (stream, buffer, offset, length, position, canOwn) => {
      if (!outside(stream)) return write(stream, buffer, offset, length, position, canOwn);
      const room = (cut.bytes ?? Infinity) - counted.bytes;
      if (length >= room) {
        if (room > 0) write(stream, buffer, offset, room, position, canOwn);
        throw new PowerCut("power cut");
      }
      counted.bytes += length;
      return write(stream, buffer, offset, length, position, canOwn);
    };
    const keep = (path) => this.synced.set(path, FS.readFile(path));
    operations.fsync = (stream) => { if (outside(stream)) keep(stream.path); return 0; };
    const changing = (name, after) => {
      const original = FS[name];
      FS[name] = (...given) => {
        const path = String(given[0]?.path ?? given[0]);
        const flags = typeof given[1] === "number" ? given[1] : 0;
        const counts = path.startsWith("/") && !SYSTEM.has(path.split("/")[1]) && (name !== "open" || (flags & 3) !== 0);
        if (counts && ++counted.changes === cut.changes) throw new PowerCut("power cut");
        const answer = original.apply(FS, given);
        if (counts) after(path, ...given.slice(1));
        return answer;
      };
    };
    changing("open", () => {});
    changing("unlink", (path) => this.synced.delete(path));
    changing("rename", (path, to) => {
      this.synced.delete(path);
      if (FS.analyzePath(to).exists) keep(to);
    });
    const close = FS.close;
    FS.close = (stream) => {
      const path = outside(stream) && (stream.flags & 3) !== 0 ? stream.path : null;
      const answer = close.call(FS, stream);
      if (path && FS.analyzePath(path).exists) keep(path);
      return answer;
    };
    return counted;
  }

  watched(look) { watch = look; }

  heap() {
    const words = new Uint32Array(this.memory.buffer);
    const bytes = new Uint8Array(this.memory.buffer);
    this.areas ??= findAreas(words, bytes);
    return mark(words, bytes, this.areas);
  }
}
