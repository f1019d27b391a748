// The page for members of a club's trial.

import { home } from './home.js';
import { kept } from './kept.js';
import { start } from './main.js';
import { readiness } from './readiness.js';

start('/water', { '': home, ready: readiness, kept });
