/** CRC-CCITT of a frame: polynomial x^16 + x^12 + x^5 + 1, start 0xFFFF, no reflection, no final inversion (IEEE C37.118.2, annex B). */

const TABLE = Uint16Array.from({ length: 256 }, (_, byte) => {
  let crc = byte << 8;
  for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1;
  return crc;
});

/**
 * Check word of the bytes from `start` up to `end`.
 * @example crcCcitt(new TextEncoder().encode('123456789')) // 0x29b1
 */
export function crcCcitt(bytes: Uint8Array, start = 0, end = bytes.length): number {
  let crc = 0xffff;
  for (let i = start; i < end; i++) crc = ((crc << 8) & 0xffff) ^ TABLE[(crc >> 8) ^ bytes[i]!]!;
  return crc;
}
