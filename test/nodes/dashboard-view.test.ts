/** What the dashboard widget shows of a comparison, without a dashboard. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'chai';
import { viewOf } from '../../nodes/ui-phasor/view';
import { comparisonAt } from './alert-samples';

const texts = JSON.parse(
  readFileSync(join(__dirname, '../../nodes/ui-phasor/locales/en-US/phaseloom-ui-phasor.json'), 'utf8'),
)['phaseloom-ui-phasor'];

/** As Node-RED tells them. */
const tell = (key: string, values: Readonly<Record<string, string>> = {}): string => {
  const text = key.split('.').reduce((part, name) => part[name], texts) as unknown as string;
  return text.replace(/__(\w+)__/g, (_, name) => values[name] ?? '');
};

const pair = { left: 'a/S1/1', right: 'a/S2/1', differenceDeg: 1.9, gapV: null, gapUpperV: null };

describe('the view of the dashboard widget', () => {
  it('draws a pair with its standard uncertainty', () => {
    const { pictures, lines } = viewOf(
      comparisonAt(0, 'TIE-1', 'same-phase', { pairs: [{ ...pair, sdDeg: 0.8 }] }),
      tell,
    );
    expect(pictures[0]!.arrows[0]).to.include({ angleDeg: 1.9, sdDeg: 0.8 });
    expect(lines[1]).to.equal('1: a/S1/1 against a/S2/1, 1.9° (standard uncertainty 0.8°)');
  });

  it('draws no arrow where the common time is not proven, and says that the difference is as read', () => {
    const unproven = comparisonAt(0, 'TIE-1', 'not-proven', { pairs: [{ ...pair, sdDeg: null }], proof: null });
    const { pictures, lines, reasons } = viewOf(unproven, tell);
    expect(pictures).to.deep.equal([]);
    expect(lines).to.deep.equal([
      'TIE-1: not proven',
      '1: a/S1/1 against a/S2/1, 1.9° as read; may be wrong by anything',
    ]);
    expect(reasons).to.have.length(1);
  });
});
