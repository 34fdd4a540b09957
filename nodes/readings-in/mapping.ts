/** The integrator's JSONata expression that turns a payload of another shape into readings. */
import type { Node, NodeAPI } from 'node-red';
import type { Problem } from '../../lib/records';
import { Expression, MOST_S } from '../kit/expression';
import { Trouble } from '../kit/trouble';
import type { Arrival, Taken } from './arrival';
import { type IntakeRules, oversize, refused, takeValue } from './intake';
import { openJson } from './json-bytes';

export type Mapping = (arrival: Arrival, rules: IntakeRules) => Promise<Taken>;

/**
 * The expression sees `payload` (parsed JSON, else text, else a buffer) and `topic`, and the topic also as `$topic`. It yields a reading,
 * an array of them, or an empty array for a message that holds none.
 * Messages must be mapped one after the other: `$topic` is a variable of the expression.
 * @throws Error when the expression cannot be compiled
 */
export function makeMapping(RED: NodeAPI, node: Node, expression: string): Mapping {
  const prepared = new Expression(RED, node, expression);
  const evaluate = ({ bytes, topic, retain }: Arrival) =>
    prepared.evaluate({ payload: payloadOf(bytes), topic, retain }, { topic });
  return async (arrival, rules) => {
    const large = oversize(arrival, rules);
    if (large) return large;
    try {
      const value = await evaluate(arrival);
      return value === undefined ? refused(arrival, NOTHING) : takeValue(arrival, value, rules);
    } catch (cause) {
      return refused(arrival, failure(cause));
    }
  };
}

function failure(cause: unknown): Problem {
  if (cause instanceof Trouble && cause.code === 'expression-endless')
    return { at: '', code: 'mapping-endless', what: `the mapping is given up: ${cause.message}`, expected: ENDING };
  const what = `the mapping fails: ${(cause as Error).message ?? String(cause)}`.slice(0, 1000);
  return { at: '', code: 'mapping-failed', what, expected: 'a payload the mapping can read' };
}

const ENDING = `a mapping that ends within ${MOST_S} s: without a function that calls itself for ever, or one whose answer does not come`;

const NOTHING = {
  at: '',
  code: 'mapping-empty',
  what: 'the mapping finds nothing in the payload',
  expected: 'a payload the mapping makes a reading of; let it yield [] for messages to pass over',
};

function payloadOf(bytes: Buffer): unknown {
  const opened = openJson(bytes);
  if (opened.ok) return opened.value;
  return opened.problem.code === 'encoding-not-utf8' ? bytes : bytes.toString();
}
