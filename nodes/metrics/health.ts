/** Whether the pack can do its work now, and where it cannot. */
import { asError } from '../kit/trouble';
import type { Watched } from '../kit/vital-signs';

export interface Health {
  readonly ready: boolean;
  readonly nodes: readonly {
    readonly id: string;
    readonly type: string;
    readonly name: string;
    readonly trouble: string | null;
  }[];
}

/** One that does not answer in this time is in trouble. */
const PATIENCE_MS = 2000;

export async function health(watched: readonly Watched[]): Promise<Health> {
  const nodes = await Promise.all(watched.filter((one) => one.trouble).map(judge));
  return { ready: nodes.every(({ trouble }) => trouble === null), nodes };
}

async function judge(one: Watched) {
  const { id, type, name } = one;
  return { id, type, name, trouble: (await withinPatience(one)) ?? null };
}

async function withinPatience(one: Watched): Promise<string | undefined> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<string>((resolve) => {
    timer = setTimeout(resolve, PATIENCE_MS, `no answer within ${PATIENCE_MS} ms`);
  });
  try {
    return await Promise.race([one.trouble?.(), late]);
  } catch (cause) {
    return asError(cause).message;
  } finally {
    clearTimeout(timer);
  }
}
