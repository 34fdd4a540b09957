/** A file system of its own in memory, small enough to be filled: what is written to it fails as on a full disk, ENOSPC and all. */
import { spawnSync } from 'node:child_process';
import { closeSync, mkdtempSync, openSync, rmSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export interface SmallDisk {
  readonly folder: string;
  /** writes until there is no room left */
  fill(): void;
  /** takes that away again */
  free(): void;
  readOnly(isReadOnly: boolean): void;
  remove(): void;
}

/** Why there is none: mounting is for root on Linux only. */
export interface NoDisk {
  readonly why: string;
}

export function smallDisk(megabytes: number): SmallDisk | NoDisk {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-disk-'));
  const mounting = spawnSync('mount', ['-t', 'tmpfs', '-o', `size=${megabytes}m`, 'tmpfs', folder], {
    encoding: 'utf8',
  });
  if (mounting.status !== 0) {
    rmSync(folder, { recursive: true });
    return { why: `a file system cannot be mounted here: ${(mounting.error?.message ?? mounting.stderr).trim()}` };
  }
  const filler = join(folder, 'filler');
  return {
    folder,
    fill: () => writeUntilFull(filler),
    free: () => rmSync(filler, { force: true }),
    readOnly(isReadOnly) {
      const way = isReadOnly ? 'ro' : 'rw';
      const { status, stderr } = spawnSync('mount', ['-o', `remount,${way}`, folder], { encoding: 'utf8' });
      if (status !== 0) throw new Error(`remounting ${way}: ${stderr}`);
    },
    remove() {
      spawnSync('umount', ['--lazy', folder]);
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

function writeUntilFull(path: string): void {
  const file = openSync(path, 'w');
  const block = Buffer.alloc(4096, 1);
  try {
    for (;;) writeSync(file, block);
  } catch (cause) {
    if ((cause as { code?: string }).code !== 'ENOSPC') throw cause;
  } finally {
    closeSync(file);
  }
}
