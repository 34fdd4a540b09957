/** What the dialogs of the pack share, as `phaseloom` in the editor. Each node loads it, as any of them may be switched off. */
import * as faces from './faces';
import * as forms from './forms';
import { editNetwork } from './network';
import * as settings from './settings';
import css from './style.css?inline';
import { offerTrial } from './trial';
import * as validators from './validators';

const STYLE_ID = 'phaseloom-editor-style';

Object.assign(globalThis, { phaseloom: { ...validators, ...faces, ...forms, ...settings, offerTrial, editNetwork } });

if (!document.getElementById(STYLE_ID)) {
  const style = document.createElement('style');
  style.id = STYLE_ID;
  style.textContent = css;
  document.head.append(style);
}
