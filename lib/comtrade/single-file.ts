/** The single file (CFF) of the 2013 revision: the other files one after the other, each behind a line that names it. From memory of the standard. */
import type { Problem } from '../records';

export type SingleFile =
  | { readonly ok: true; readonly cfg: string; readonly dat: Uint8Array }
  | { readonly ok: false; readonly problems: readonly Problem[] };

const HEADING =
  /^-{3} {0,4}file type: {0,4}(cfg|inf|hdr|dat)\b {0,4}([a-z0-9]{0,9}) {0,4}(?:: {0,4}(\d{1,12}))? {0,4}-{3}[ \t]{0,9}(\r\n|\n|\r|$)/gim;

/** The configuration and the data of a single file. The data come last; binary ones state their length. */
export function splitSingleFile(file: string | Uint8Array): SingleFile {
  const bytes = typeof file === 'string' ? new TextEncoder().encode(file) : file;
  // One character a byte, so that places in the text are places in the bytes.
  const text = Array.from(chunks(bytes), (chunk) => String.fromCharCode(...chunk)).join('');
  const found: { type: string; from: number; start: number; bytes: number | undefined }[] = [];
  for (const m of text.matchAll(HEADING)) {
    const start = m.index + m[0].length;
    const type = m[1]!.toUpperCase();
    found.push({ type, from: m.index, start, bytes: m[3] === undefined ? undefined : Number(m[3]) });
    if (type === 'DAT') break;
  }
  const part = (type: string) => {
    const k = found.findIndex((f) => f.type === type);
    return k < 0 ? undefined : { ...found[k]!, end: found[k + 1]?.from ?? bytes.length };
  };
  const [cfg, dat] = [part('CFG'), part('DAT')];
  if (!cfg || !dat) return fault('part-missing', `the file has no ${cfg ? 'DAT' : 'CFG'} part`, CFF);
  const end = dat.bytes === undefined ? dat.end : dat.start + dat.bytes;
  if (end > bytes.length)
    return fault(
      'data-wrong',
      `${bytes.length - dat.start} bytes of data are there`,
      `${dat.bytes}, as the heading says`,
    );
  return {
    ok: true,
    cfg: new TextDecoder().decode(bytes.subarray(cfg.start, cfg.end)),
    dat: bytes.subarray(dat.start, end),
  };
}

const CFF = 'lines "--- file type: CFG ---" and "--- file type: DAT ASCII ---" before the parts';

function* chunks(bytes: Uint8Array): Generator<Uint8Array> {
  for (let at = 0; at < bytes.length; at += 8192) yield bytes.subarray(at, at + 8192);
}

const fault = (code: string, what: string, expected: string): SingleFile => ({
  ok: false,
  problems: [{ at: '/cff', code, what, expected }],
});
