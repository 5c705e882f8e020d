/** Name and version of this software, as they stand in every artefact. */
import packageJson from '../package.json' with { type: 'json' };

/** Libraries that take part in a build, with their exact versions. */
export const LIBRARIES: Readonly<Record<string, string>> = packageJson.dependencies;

export const SOFTWARE = { name: packageJson.name, version: packageJson.version } as const;
