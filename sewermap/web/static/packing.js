// Packed columns of numbers back into typed arrays: base64, inflated, bytes out of their planes, steps summed up.
"use strict";
(() => {
  const TYPES = { u8: Uint8Array, i8: Int8Array, u16: Uint16Array, i16: Int16Array, u32: Uint32Array, i32: Int32Array, f32: Float32Array };
  const UNSIGNED = { 1: Uint8Array, 2: Uint16Array, 4: Uint32Array };

  /** The bytes of a base64 text. */
  function decoded(text) {
    if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
    const letters = atob(text), bytes = new Uint8Array(letters.length);
    for (let i = 0; i < letters.length; i += 1) bytes[i] = letters.charCodeAt(i);
    return bytes;
  }

  /** A promise of the bytes that a text packs. */
  async function unpackBytes(text) {
    const stream = new Blob([decoded(text)]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  /** One column out of its planes (all lowest bytes first, then the next), as unsigned whole numbers. */
  function joined(raw, at, length, width) {
    if (width === 1) return raw.slice(at, at + length);
    const whole = new UNSIGNED[width](length);
    if (width === 2) {
      for (let i = 0; i < length; i += 1) whole[i] = raw[at + i] | (raw[at + length + i] << 8);
      return whole;
    }
    for (let plane = 0; plane < width; plane += 1) {
      const from = at + plane * length, shift = 8 * plane;
      for (let i = 0; i < length; i += 1) whole[i] |= raw[from + i] << shift;
    }
    return whole;
  }

  /** Folded steps (0, 1, 2, 3 are 0, -1, 1, -2) summed up in place; sums wrap where the type ends, as they did when packed. */
  function summed(whole) {
    let sum = 0;
    for (let i = 0; i < whole.length; i += 1) {
      sum = (sum + ((whole[i] >>> 1) ^ -(whole[i] & 1))) | 0;
      whole[i] = sum;
    }
    return whole;
  }

  /** A promise of the columns {name: typed array} of what packing.py packed. */
  async function unpack(packed) {
    const raw = await unpackBytes(packed.bytes), columns = {};
    let at = 0;
    for (const [name, type, length, isSteps] of packed.columns) {
      const Kind = TYPES[type], width = Kind.BYTES_PER_ELEMENT, whole = joined(raw, at, length, width);
      if (isSteps) summed(whole);
      columns[name] = new Kind(whole.buffer);
      at += width * length;
    }
    return columns;
  }

  /** A promise of the texts that names_file.py packed as one. */
  async function unpackText(text) {
    return new TextDecoder().decode(await unpackBytes(text));
  }

  sewermap.unpack = unpack;
  sewermap.unpackText = unpackText;
})();
