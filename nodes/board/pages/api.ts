/** Asking the board's routes. Addresses are relative: the board may stand anywhere. */
export class Refusal extends Error {
  constructor(
    readonly code: string,
    message: string,
  ) {
    super(message);
  }
}

type Parameters = Readonly<Record<string, string | number | boolean | undefined>>;

export function address(path: string, parameters: Parameters = {}): string {
  const query = new URLSearchParams();
  for (const [name, value] of Object.entries(parameters)) {
    if (value !== undefined && value !== '') query.set(name, String(value));
  }
  return `api/${path}${query.size > 0 ? `?${query}` : ''}`;
}

export const get = async <T>(path: string, parameters?: Parameters): Promise<T> =>
  answered(await fetch(address(path, parameters)));

export const post = async <T>(path: string, body: object): Promise<T> =>
  answered(
    await fetch(address(path), {
      method: 'POST',
      headers: { 'content-type': 'application/json', 'x-phaseloom': 'board' },
      body: JSON.stringify(body),
    }),
  );

async function answered<T>(response: Response): Promise<T> {
  const body = await response.json().catch(() => undefined);
  if (response.ok && body !== undefined) return body as T;
  // A page to sign in to, or of a network that wants to be paid, comes with 200 too.
  if (response.ok)
    throw new Refusal('foreign-answer', 'what answered is not the board: is there a page to sign in to?');
  throw new Refusal(body?.code ?? 'failed', body?.error ?? `the board answered ${response.status}`);
}
