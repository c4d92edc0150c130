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
    // Written straight in: a Blob's stream would send the bytes through another process first.
    const { readable, writable } = new DecompressionStream("deflate-raw"), writer = writable.getWriter();
    const written = Promise.all([writer.write(decoded(text)), writer.close()]);
    const [bytes] = await Promise.all([new Response(readable).arrayBuffer(), written]);
    return new Uint8Array(bytes);
  }

  /** One column out of its planes (all lowest bytes first, then the next), as unsigned whole numbers. */
  function joined(raw, at, length, width) {
    if (width === 1) return raw.subarray(at, at + length);
    const whole = new UNSIGNED[width](length), [low, next, third, high] = [0, 1, 2, 3].map((plane) => raw.subarray(at + plane * length));
    if (width === 2) for (let i = 0; i < length; i += 1) whole[i] = low[i] | (next[i] << 8);
    else for (let i = 0; i < length; i += 1) whole[i] = low[i] | (next[i] << 8) | (third[i] << 16) | (high[i] << 24);
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

  /** A promise of the columns {name: typed array} of what packing.py packed, each put together when it is first read. */
  async function unpack(packed) {
    const raw = await unpackBytes(packed.bytes), makers = {};
    let at = 0;
    for (const [name, type, length, isSteps] of packed.columns) {
      const Kind = TYPES[type], width = Kind.BYTES_PER_ELEMENT, from = at;
      makers[name] = () => {
        const whole = joined(raw, from, length, width);
        if (isSteps) summed(whole);
        return new Kind(whole.buffer, whole.byteOffset, length);
      };
      at += width * length;
    }
    return sewermap.lazily({}, makers);
  }

  /** A promise of the texts that names_file.py packed as one. */
  async function unpackText(text) {
    return new TextDecoder().decode(await unpackBytes(text));
  }

  sewermap.unpack = unpack;
  sewermap.unpackText = unpackText;
})();
