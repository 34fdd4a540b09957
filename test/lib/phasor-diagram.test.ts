import { expect } from 'chai';
import { phasorDiagram } from '../../lib/phasor-diagram';

describe('the phasor diagram', () => {
  it('puts zero to the right and a leading angle counter-clockwise, SVG y pointing down', () => {
    const svg = phasorDiagram([{ label: 't', letter: 'A', angleDeg: 90 }], { title: 'x', size: 300 });
    expect(svg).to.contain('<line x1="0" y1="0" x2="0" y2="-99"');
  });
  it('gives no text the power to become markup', () => {
    const svg = phasorDiagram([{ label: '<script>', letter: '"', angleDeg: 0 }], { title: '</title><b>' });
    expect(svg).not.to.match(/<script|<b>/);
  });
  it('says in words what it shows', () => {
    expect(phasorDiagram([{ label: 'T1', letter: '?', angleDeg: -118.44 }], { title: 'S' })).to.contain(
      'T1: ? at -118.4 degrees',
    );
  });
});
