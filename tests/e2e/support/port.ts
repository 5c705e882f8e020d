import { BELOW } from './server.ts';

export const PORT = Number(process.env.STRATAFOLIO_E2E_PORT ?? 4389);
export const BASE = `http://127.0.0.1:${PORT}${BELOW}`;
