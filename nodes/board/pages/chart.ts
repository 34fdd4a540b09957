/** The chart itself, in the colours of the page; times in UTC, as everywhere on the board. */
import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';

/** The time axis spans at least this, so that the first points do not fill it. */
const LEAST_S = 60;
const STEPS_S = [5, 10, 15, 30, 60, 120, 300];

export function makeChart(box: HTMLElement, height: number): uPlot {
  const colours = getComputedStyle(box);
  const axis = { stroke: colours.color, grid: { stroke: colours.borderTopColor, width: 1 }, ticks: { show: false } };
  const clock = (seconds: number) => new Date(seconds * 1000).toISOString().slice(11, 19);
  return new uPlot(
    {
      width: box.clientWidth,
      height,
      legend: { show: false },
      cursor: { show: false },
      padding: [12, 34, 0, 4],
      scales: {
        x: { range: (_u, least, most) => (most === null ? [0, LEAST_S] : [Math.min(least, most - LEAST_S), most]) },
        y: { range: (_u, _least, most) => [0, Math.max(1, most * 1.1)] },
      },
      series: [{}, { stroke: colours.getPropertyValue('--accent'), width: 2 }],
      axes: [
        { ...axis, space: 100, incrs: STEPS_S, values: (_u, times) => times.map(clock) },
        { ...axis, size: 44 },
      ],
    },
    [[], []],
    box,
  );
}
