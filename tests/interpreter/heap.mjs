// How much of the Python heap is in use while Python runs.
//
// The WebAssembly build collects only when no Python runs, so its own figures say nothing about a running wake.
// This marks as gc.c does, conservatively.
const BLOCK = 16;
// Of the four blocks that a byte of the table speaks of, how many are taken.
const TAKEN = Uint8Array.from({ length: 256 }, (_, byte) => [0, 2, 4, 6].filter((at) => (byte >> at) & 3).length);

// Where gc.c keeps its tables: start and length of the allocation table, the finalisers' table right behind it,
// start and end of the pool, which holds 64 bytes for each byte of the table.
export function findAreas(words) {
  const areas = [];
  for (let at = 0; at + 4 < words.length; at += 1) {
    const [table, length, finalisers, pool, end] = words.subarray(at, at + 5);
    if (length > 64 && table > 1024 && finalisers >= table + length && finalisers <= table + length + 8
      && pool > finalisers && end - pool === length * 4 * BLOCK && end <= words.length * 4) {
      areas.push({ table, length, pool, end });
    }
  }
  if (areas.length === 0) throw new Error("The interpreter's heap was not found in its memory");
  return areas;
}

// Bytes that something still points to, and bytes that are allocated, garbage included. Roots are all words
// outside the heap: the interpreter's own state and stack, and what is left over there, so rather more than less.
export function mark(words, bytes, areas) {
  if (areas.length !== 1) throw new Error("The heap grew: start the interpreter with more");
  const { table, pool, end } = areas[0];
  const kind = (block) => (bytes[table + (block >> 2)] >> ((block & 3) * 2)) & 3;
  const blocks = (end - pool) / BLOCK;
  const seen = new Uint8Array(blocks);
  const work = [];
  let live = 0;
  const point = (address) => {
    if (address < pool || address >= end || address % BLOCK) return;
    const block = (address - pool) / BLOCK;
    if (seen[block] || kind(block) !== 1) return;
    seen[block] = 1;
    work.push(block);
  };
  const scan = (from, to) => { for (let at = from >> 2; at < to >> 2; at += 1) point(words[at]); };
  scan(0, table);
  scan(end, Math.min(words.length * 4, end + (1 << 16)));
  while (work.length) {
    const block = work.pop();
    let size = 1;
    while (block + size < blocks && kind(block + size) === 2) size += 1;
    live += size * BLOCK;
    scan(pool + block * BLOCK, pool + (block + size) * BLOCK);
  }
  let taken = 0;
  for (let at = table; at < table + (blocks >> 2); at += 1) taken += TAKEN[bytes[at]];
  return { live, allocated: taken * BLOCK };
}
