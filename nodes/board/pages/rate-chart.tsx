/** Readings a second over time. The chart library is fetched only when this is looked at. */
import { useEffect, useRef } from 'preact/hooks';
import type uPlot from 'uplot';
import { isDark } from './theme';

interface Props {
  readonly times: number[];
  readonly values: number[];
}

const HEIGHT_PX = 180;

export function RateChart({ times, values }: Props) {
  const box = useRef<HTMLDivElement>(null);
  const chart = useRef<uPlot>(undefined);
  const dark = isDark();
  useEffect(() => {
    const el = box.current!;
    const watch = new ResizeObserver(() => chart.current?.setSize({ width: el.clientWidth, height: HEIGHT_PX }));
    let isGone = false;
    import('./chart').then(({ makeChart }) => {
      if (isGone) return;
      chart.current = makeChart(el, HEIGHT_PX);
      chart.current.setData([times, values]);
      watch.observe(el);
    });
    return () => {
      isGone = true;
      watch.disconnect();
      chart.current?.destroy();
      chart.current = undefined;
    };
  }, [dark]);
  useEffect(() => chart.current?.setData([times, values]), [times.length, times.at(-1)]);
  const most = Math.max(0, ...values);
  return <div ref={box} class="chart" role="img" aria-label={`Readings a second; highest so far ${most.toFixed(1)}`} />;
}
