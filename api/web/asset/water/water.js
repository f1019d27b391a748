import { start } from './main.js';

start();
