// Reads the answer of /timeline: see web/session/timeline_arrays.py for its layout.
const TYPES = { float32: Float32Array, uint8: Uint8Array, uint16: Uint16Array };

export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const facts = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const base = 4 + length;
  const arrays = {};
  for (const { name, type, shape, offset } of facts.arrays) {
    const count = shape.reduce((product, size) => product * size, 1);
    arrays[name] = new TYPES[type](buffer, base + offset, count);
  }
  return { facts, arrays, frames: arrays.line_s.length };
}
