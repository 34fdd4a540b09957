/** What the values of a dialog must be. The reason stands in the catalogue of the node under `error`. */
import { type EditorNode, reason, type Validator } from './node';

interface NumberRule {
  /** an empty field is right, because it has a meaning of its own or the default counts then */
  readonly empty?: boolean;
  readonly whole?: boolean;
  /** key of the reason, `number` when left out */
  readonly reason?: string;
}

/** A number from least to most; one not given at all takes its default. */
export function number(least: number, most: number, rule: NumberRule = {}): Validator {
  return function (value, _options) {
    const isEmpty = value === undefined || value === null || String(value).trim() === '';
    if (value === undefined || (isEmpty && rule.empty)) return true;
    const given = Number(value);
    const isRight = rule.whole ? Number.isInteger(given) : Number.isFinite(given);
    if (!isEmpty && isRight && given >= least && given <= most) return true;
    return reason(this, rule.reason ?? 'number', { least, most });
  };
}

/** One of the words; one not given at all takes its default. */
export function oneOf(words: readonly string[], key: string): Validator {
  return function (value, _options) {
    return value === undefined || words.includes(String(value)) ? true : reason(this, key, { words: words.join(', ') });
  };
}

/** Right when the test says so of the value and the node. @param key of the reason */
export function that(test: (value: string, node: EditorNode) => boolean, key: string): Validator {
  return function (value, _options) {
    return test(String(value ?? '').trim(), this) ? true : reason(this, key);
  };
}

/** A test with more to say than one reason: it returns true, or a key with what the text is filled with. */
export function judged(
  judge: (value: never, node: EditorNode) => true | readonly [key: string, values?: Readonly<Record<string, unknown>>],
): Validator {
  return function (value, _options) {
    const verdict = judge(value as never, this);
    return verdict === true ? true : reason(this, ...verdict);
  };
}

/** A config node is chosen. */
export const isChosen = (id: unknown): boolean => typeof id === 'string' && id !== '' && id !== '_ADD_';
