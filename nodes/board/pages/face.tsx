/** An open point: both sides face to face, and which conductor belongs where. */
import type { PairMeasure } from '../../../lib/records';
import { to } from './place';
import { type Conductor, letterOf, type ShownPoint, short } from './places';
import { Reasons } from './reasons';
import { degrees, VERDICTS } from './words';

const PROOFS = {
  'common-conductor': 'a common conductor, read before and after',
  'attested-time': 'attested time',
  'same-instrument': 'the same instrument on both sides',
} as const;

export function Face({ point }: { readonly point: ShownPoint }) {
  const { comparison } = point;
  return (
    <section class="face" aria-label={`Open point ${point.id}`}>
      <h3>
        Open point {point.id}
        {point.name ? `, ${point.name}` : ''}
      </h3>
      <p class="said">
        <b>{comparison ? VERDICTS[comparison.verdict] : 'not compared yet'}</b>
        {comparison?.landing && comparison.landing !== 'straight' ? `, ${comparison.landing}` : ''}
      </p>
      <table>
        <caption>What faces what, as landed</caption>
        <thead>
          <tr>
            <th scope="col">Left</th>
            <th scope="col">Apart</th>
            <th scope="col">Right</th>
            <th scope="col">Left belongs with</th>
          </tr>
        </thead>
        <tbody>
          {point.left.map((left, i) => (
            <Pair key={left.id} point={point} left={left} right={point.right[i]!} />
          ))}
        </tbody>
      </table>
      {comparison && (
        <>
          {comparison.proof && <p>Both sides tell the same time: {PROOFS[comparison.proof]}.</p>}
          <Reasons reasons={comparison.reasons} />
          {comparison.caution && <p class="caution">{comparison.caution}</p>}
          <p>
            <a href={to('records', comparison.id)}>What the comparison rests on</a>
          </p>
        </>
      )}
    </section>
  );
}

interface PairProps {
  readonly point: ShownPoint;
  readonly left: Conductor;
  readonly right: Conductor;
}

function Pair({ point: { comparison }, left, right }: PairProps) {
  const measured = comparison?.pairs.find((p) => p.left === left.id);
  const belongs = comparison?.belongs.find((b) => b.left === left.id);
  const isElsewhere = belongs && belongs.right !== belongs.landedOn;
  return (
    <tr>
      <td>
        <Side conductor={left} />
      </td>
      <td>{apart(measured)}</td>
      <td>
        <Side conductor={right} />
      </td>
      <td>{belongs ? isElsewhere ? <b>{short(belongs.right)}, not this one</b> : 'this one' : '–'}</td>
    </tr>
  );
}

/** A difference whose clocks are not proven is not shown: 2 degrees beside *not proven* would be read as the same phase. */
const apart = (measured: PairMeasure | undefined): string =>
  typeof measured?.sdDeg === 'number' ? `${degrees(measured.differenceDeg, 0)} ± ${measured.sdDeg.toFixed(1)}°` : '–';

const Side = ({ conductor }: { readonly conductor: Conductor }) => (
  <span class="side" title={conductor.id}>
    <b class="letter">{letterOf(conductor)}</b> {short(conductor.id)}
  </span>
);
