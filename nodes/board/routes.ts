/** Every route of the board. A part of the board with pages of its own adds its list here. */
import { alertRoutes } from './alert-routes';
import { eventRoutes } from './event-routes';
import { feederRoutes } from './feeder-routes';
import { fieldRoutes } from './field-routes';
import { healthRoutes } from './health-routes';
import { jobSheetRoutes } from './job-sheet-routes';
import { pageRoutes } from './page-files';
import { placeRoutes } from './place-routes';
import { planRoutes } from './plan-routes';
import { recordRoutes } from './record-routes';
import type { Route } from './route';

/** The first that fits is taken; the pages come last since they take whatever is left. */
export const routes: readonly Route[] = [
  ...alertRoutes,
  ...recordRoutes,
  ...placeRoutes,
  ...feederRoutes,
  ...planRoutes,
  ...fieldRoutes,
  ...jobSheetRoutes,
  ...healthRoutes,
  ...eventRoutes,
  ...pageRoutes,
];
