/** Who we are to the broker, kept in the user directory: two machines with the same flow must not fight for one client id. */
import { createHash, randomBytes } from 'node:crypto';
import { mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { hostname } from 'node:os';
import { join } from 'node:path';

const folderIn = (userDir: string) => join(userDir, 'phaseloom');

/** A name of this Node-RED installation, made once. On a disk that cannot be written it is made of host and folder. */
export function instanceId(userDir: string): string {
  const file = join(folderIn(userDir), 'instance');
  try {
    mkdirSync(folderIn(userDir), { recursive: true });
    try {
      writeFileSync(file, randomBytes(16).toString('hex'), { flag: 'wx' });
    } catch (cause) {
      if ((cause as NodeJS.ErrnoException).code !== 'EEXIST') throw cause;
    }
    const id = readFileSync(file, 'utf8').trim();
    if (id !== '') return id;
  } catch {
    // a read-only user directory still gets a stable id
  }
  return digest(`${hostname()} ${userDir}`);
}

/** 23 letters and digits: what every MQTT 3.1.1 broker must accept. */
export const defaultClientId = (instance: string, nodeId: string): string =>
  `phaseloom${digest(`${instance} ${nodeId}`).slice(0, 14)}`;

const digest = (text: string) => createHash('sha256').update(text).digest('hex');

export interface RememberedSession {
  readonly clientId: string;
  /** mark of the broker, not its address */
  readonly broker: string;
  readonly filters: readonly string[];
}

export type SessionStore = Pick<SessionMemory, 'recall' | 'remember' | 'forget'>;

/** A session that another worker left: not known here before, not remembered after. */
export const borrowedSession = (session: RememberedSession): SessionStore => ({
  recall: () => session,
  remember: () => undefined,
  forget: () => undefined,
});

/** What session the broker should be keeping for this node, and what it is subscribed to. */
export class SessionMemory {
  private readonly file: string;

  constructor(
    private readonly userDir: string,
    nodeId: string,
  ) {
    this.file = join(folderIn(userDir), `session-${nodeId.replace(/[^\w-]/g, '_')}.json`);
  }

  recall(): RememberedSession | undefined {
    try {
      return JSON.parse(readFileSync(this.file, 'utf8')) as RememberedSession;
    } catch {
      return undefined;
    }
  }

  /** Not being able to remember costs a warning at most, so failing to write is no failure. */
  remember(session: RememberedSession): void {
    const text = JSON.stringify(session);
    if (text === JSON.stringify(this.recall())) return;
    try {
      mkdirSync(folderIn(this.userDir), { recursive: true });
      writeFileSync(`${this.file}.new`, text);
      renameSync(`${this.file}.new`, this.file);
    } catch {
      // see above
    }
  }

  forget(): void {
    rmSync(this.file, { force: true });
  }
}
