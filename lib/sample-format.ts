/** Binary samples, little-endian: bytes a sample and how one is read. */
const FORMATS = {
  int16: { size: 2, read: (v: DataView, at: number) => v.getInt16(at, true) },
  int32: { size: 4, read: (v: DataView, at: number) => v.getInt32(at, true) },
  float32: { size: 4, read: (v: DataView, at: number) => v.getFloat32(at, true) },
  float64: { size: 8, read: (v: DataView, at: number) => v.getFloat64(at, true) },
} as const;

export type SampleFormat = keyof typeof FORMATS;
export const SAMPLE_FORMATS = Object.keys(FORMATS) as readonly SampleFormat[];

/**
 * Numbers of binary samples, or undefined when the bytes are no whole number of samples.
 * @example Array.from(samplesOfBytes(Uint8Array.of(1, 0, 255, 255), 'int16')) // [1, -1]
 */
export function samplesOfBytes(bytes: Uint8Array, format: SampleFormat): Float64Array | undefined {
  const { size, read } = FORMATS[format];
  if (bytes.length % size !== 0) return undefined;
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  return Float64Array.from({ length: bytes.length / size }, (_, k) => read(view, k * size));
}

/** Bytes of base64 (RFC 4648), or undefined when it is none. */
export function bytesOfBase64(text: string): Uint8Array | undefined {
  try {
    return Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  } catch {
    return undefined;
  }
}
