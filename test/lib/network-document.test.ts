import { expect } from 'chai';
import { readNetwork } from '../../lib';
import { parseCsv } from '../../lib/csv';

const TERMINALS = `id,site,position,viewing,recordedPhase,connection,nominalV,path
S118/2,S118,2,,B,phase-neutral,12470,Dyn1
S118/1,S118,1,road-to-field,A,phase-neutral,12470,Dyn1 YNyn0
R17/1,R17,,,A,,,none
R17/2,R17,,,,,,`;
const POINTS = `openPoint,left,right,toleranceDeg,proofTerminal
OP,S118/1,R17/1,8,S118/2
OP,S118/2,R17/2,,`;

const problems = (text: string, openPoints?: string) => {
  const read = readNetwork({ text, ...(openPoints === undefined ? {} : { openPoints }) });
  return read.ok ? [] : read.problems;
};

describe('a network in CSV', () => {
  it('is read with sites in viewing order and open points by pairs of rows', () => {
    const read = readNetwork({ text: `${TERMINALS}\n\n${POINTS}`, id: 'hollin' });
    if (!read.ok) throw new Error(read.problems.join('\n'));
    expect(read.document).to.deep.equal({
      id: 'hollin',
      terminals: [
        {
          id: 'S118/2',
          site: 'S118',
          recordedPhase: 'B',
          connection: 'phase-neutral',
          nominalV: 12470,
          path: ['Dyn1'],
        },
        {
          id: 'S118/1',
          site: 'S118',
          recordedPhase: 'A',
          connection: 'phase-neutral',
          nominalV: 12470,
          path: ['Dyn1', 'YNyn0'],
        },
        { id: 'R17/1', site: 'R17', recordedPhase: 'A', path: [] },
        { id: 'R17/2', site: 'R17' },
      ],
      sites: [
        { id: 'S118', terminals: ['S118/1', 'S118/2'], viewing: 'road-to-field' },
        { id: 'R17', terminals: ['R17/1', 'R17/2'], viewing: 'left-to-right' },
      ],
      openPoints: [
        { id: 'OP', left: ['S118/1', 'S118/2'], right: ['R17/1', 'R17/2'], toleranceDeg: 8, proofTerminal: 'S118/2' },
      ],
    });
  });

  it('reads the open points from a text of their own just the same', () => {
    const together = readNetwork({ text: `${TERMINALS}\n\n${POINTS}` });
    const apart = readNetwork({ text: TERMINALS, openPoints: POINTS });
    expect(apart.ok && apart.document).to.deep.equal(together.ok && together.document);
  });

  it('reads what spreadsheets write: semicolons, tabs, quotes, a byte order mark, carriage returns', () => {
    for (const [separator, end] of [
      [';', '\r\n'],
      ['\t', '\n'],
    ] as const) {
      const text = `\uFEFFID${separator}"Site"${end}"a ""x""/1"${separator}a${end}`;
      const read = readNetwork({ text });
      expect(read.ok && read.document.terminals).to.deep.equal([{ id: 'a "x"/1', site: 'a' }]);
    }
  });

  it('names the row and what would be right', () => {
    expect(problems('id,phase\na,A')).to.deep.equal([
      'row 1: unknown columns phase; expected columns id, site, position, viewing, recordedPhase, connection, nominalV, path, lat, lon',
      'there is no table of terminals; expected a header row such as id,site,position,viewing,recordedPhase,connection,nominalV,path,lat,lon',
    ]);
    expect(problems('id,nominalV,connection\n\n')).to.have.length(1);
    expect(problems('id,nominalV,connection\na,"12,47",star\n,1,')).to.deep.equal([
      'row 2: connection is "star"; expected one of phase-neutral, phase-neutral-reversed, phase-phase, phase-phase-reversed',
      'row 2: nominalV is "12,47"; expected a number above 0 with a point, e.g. 12470',
      'row 3: id is empty; expected the id of a terminal, e.g. hollin-bank/F3/S118/2',
    ]);
    expect(problems('id,path\na,Dyn2')[0]).to.match(
      /^terminal a: path: Dyn2: 2 o'clock is not possible.*odd clock number/,
    );
    expect(problems('id\na', 'openPoint,left,right\nOP,a,')).to.deep.equal([
      'open points, row 2: right missing; expected openPoint, left and right',
    ]);
    expect(problems('id\na', 'openPoint,left,right\nOP,a,b')).to.deep.equal([
      'open point OP: terminal b is not in terminals',
    ]);
    expect(problems('id,site,position\na,s,1\nb,s,1')[0]).to.match(
      /^site s: positions are a 1, b 1; expected a different number/,
    );
    expect(problems('id,site,viewing\na,s,left-to-right\nb,s,top-to-bottom')[0]).to.match(
      /^site s: viewing is said to be/,
    );
  });

  it('counts the rows as the spreadsheet shows them, line breaks in quotes included', () => {
    expect(parseCsv('a,"b\nc"\nd').map((r) => r.row)).to.deep.equal([1, 3]);
  });
});

describe('a network in JSON', () => {
  it('is checked against the schema, each problem with its place', () => {
    expect(
      problems('{"id":"n","terminals":[{"id":""}],"sites":[{"id":"s","terminals":["a"],"viewing":"sideways"}]}'),
    ).to.satisfy(
      (told: string[]) =>
        told.some((p) => p.startsWith('/terminals/0/id: ')) && told.some((p) => p.startsWith('/sites/0/viewing')),
    );
  });
  it('tells where the text stops being JSON', () => expect(problems('{"id":')[0]).to.match(/^not JSON: /));
  it('names unknown terminals and ids used twice', () => {
    const told = problems(
      '{"id":"n","terminals":[{"id":"a"},{"id":"a"}],"openPoints":[{"id":"o","left":["a"],"right":["b"],"proofTerminal":"c"}]}',
    );
    expect(told).to.deep.equal([
      'terminals[1]: id a is used twice',
      'open point o: terminal b is not in terminals',
      'open point o: terminal c is not in terminals',
    ]);
  });
  it('takes its id from outside when it has none', () => {
    const read = readNetwork({ text: '{"terminals":[{"id":"a"}]}', id: 'from-the-file' });
    expect(read.ok && read.network.id).to.equal('from-the-file');
  });
});
