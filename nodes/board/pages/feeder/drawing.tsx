/** The feeder as a drawing to drag, stretch and walk through, with what is chosen told in words. */
import { useEffect, useMemo, useRef } from 'preact/hooks';
import { drawTree, type TreeDrawing } from '../../../../lib/feeder/tree-drawing';
import { type FeederAnswer, probability, strength } from './answers';
import { FeederCanvas } from './canvas';
import { marksOf } from './marks';
import { COLUMN_PX, LANE_PX } from './view';
import { type Arrow, isArrow, neighbour } from './walk';

interface Props {
  readonly answer: FeederAnswer;
  readonly chosen: string;
  readonly onChoose: (section: string) => void;
}

/** What the style sheet makes the height of: no more room than the drawing takes at the width that there is. */
const roomFor = ({ columns, lanes }: TreeDrawing) => ({
  '--tall': `${lanes * LANE_PX}px`,
  '--shape': ((lanes * LANE_PX) / (columns * COLUMN_PX)).toFixed(4),
});

const STEP = 1.35;
const PAN_PX = 120;

export function Drawing({ answer, chosen, onChoose }: Props) {
  const { picture } = answer;
  const tree = useSameTree(picture);
  const box = useRef<HTMLCanvasElement>(null);
  const canvas = useRef<FeederCanvas>(undefined);
  const choose = useRef(onChoose);
  choose.current = onChoose;
  const marks = useMemo(() => marksOf(answer), [answer]);
  const at = useMemo(() => picture.ids.indexOf(chosen, 1), [picture, chosen]);
  const drawn = useMemo(() => drawTree(tree), [tree]);
  useEffect(() => {
    const made = new FeederCanvas(box.current!, drawn, tree.parent, (v) => choose.current(tree.ids[v]!));
    canvas.current = made;
    return () => made.close();
  }, [tree]);
  useEffect(() => canvas.current!.show(picture, marks, at), [tree, picture, marks, at]);

  const zoom = (factor: number) => canvas.current!.move((v) => v.zoom(factor));
  const showAll = () => canvas.current!.move((v) => v.fit());
  const press = (e: KeyboardEvent) => {
    if (e.ctrlKey || e.metaKey || e.altKey || !take(e.key, e.shiftKey)) return;
    e.preventDefault();
  };
  const take = (key: string, isShifted: boolean): boolean => {
    if (key === '+' || key === '=') zoom(STEP);
    else if (key === '-') zoom(1 / STEP);
    else if (key === '0') showAll();
    else if (isArrow(key) && isShifted) canvas.current!.move((v) => v.pan(...PAN[key]));
    else if (isArrow(key)) onChoose(tree.ids[neighbour(canvas.current!.index, tree.parent, at, key)]!);
    else return false;
    return true;
  };

  return (
    <div class="drawing">
      <div class="drawing-tools">
        <button type="button" aria-label="Larger" onClick={() => zoom(STEP)}>
          +
        </button>
        <button type="button" aria-label="Smaller" onClick={() => zoom(1 / STEP)}>
          −
        </button>
        <button type="button" onClick={showAll}>
          Whole feeder
        </button>
      </div>
      <div
        class="drawing-box"
        role="application"
        // biome-ignore lint/a11y/noNoninteractiveTabindex: it takes the keys named in its description
        tabIndex={0}
        aria-label={`Drawing of feeder ${picture.name}, ${picture.ids.length - 1} sections`}
        aria-describedby="drawing-keys"
        onKeyDown={press}
        style={roomFor(drawn)}
      >
        <canvas ref={box} />
      </div>
      <p class="hint" id="drawing-keys">
        Drag to move, wheel or two fingers to zoom. Keys: arrows walk along the conductors, with Shift they move the
        drawing; <kbd>+</kbd> <kbd>−</kbd> zoom, <kbd>0</kbd> shows all.
      </p>
      <p class="hidden" aria-live="polite">
        {at > 0 ? inWords(answer, at) : ''}
      </p>
    </div>
  );
}

const PAN: Readonly<Record<Arrow, readonly [number, number]>> = {
  ArrowLeft: [PAN_PX, 0],
  ArrowRight: [-PAN_PX, 0],
  ArrowUp: [0, PAN_PX],
  ArrowDown: [0, -PAN_PX],
  Home: [0, 0],
};

/** The same tree as before stays the same object, so that a new trace does not move the drawing. */
function useSameTree({ ids, parent }: FeederAnswer['picture']) {
  const held = useRef({ ids, parent });
  const was = held.current;
  const isSame =
    was.ids.length === ids.length && ids.every((id, v) => id === was.ids[v] && parent[v] === was.parent[v]);
  if (!isSame) held.current = { ids, parent };
  const { current } = held;
  return useMemo(() => ({ count: current.ids.length, ...current }), [current]);
}

function inWords({ picture }: FeederAnswer, v: number): string {
  const conductors = [0, 1, 2].flatMap((j) => {
    const phase = picture.likeliest[3 * v + j]!;
    if (phase < 0) return [];
    const p = picture.probability[3 * v + j]!;
    return [
      `recorded ${picture.phases[picture.recorded[3 * v + j]!]}: ${picture.phases[phase]}, ${strength(p)}, ${probability(p)}`,
    ];
  });
  return `Section ${picture.ids[v]}. ${conductors.join('; ')}`;
}
