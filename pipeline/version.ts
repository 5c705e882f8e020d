/** Name and version of this software, as they stand in every artefact. */
import packageJson from '../package.json' with { type: 'json' };

export const SOFTWARE = { name: packageJson.name, version: packageJson.version } as const;
