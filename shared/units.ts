/**
 * Units as branded numbers. A brand costs nothing at run time and stops a nanometre from being passed where a
 * micrometre is meant. Inside kernels plain numbers are used, with the unit in the name (`pitchUm`).
 */
declare const unit: unique symbol;

export type Um = number & { readonly [unit]: 'um' };
export type Nm = number & { readonly [unit]: 'nm' };
export type Radians = number & { readonly [unit]: 'rad' };
export type Degrees = number & { readonly [unit]: 'deg' };

export const um = (value: number): Um => value as Um;
export const nm = (value: number): Nm => value as Nm;
export const radians = (value: number): Radians => value as Radians;
export const degrees = (value: number): Degrees => value as Degrees;

export const umFromNm = (value: Nm): Um => (value / 1000) as Um;
export const nmFromUm = (value: Um): Nm => (value * 1000) as Nm;
export const radiansFromDegrees = (value: Degrees): Radians => ((value * Math.PI) / 180) as Radians;
export const degreesFromRadians = (value: Radians): Degrees => ((value * 180) / Math.PI) as Degrees;

/** Product of the Planck constant and the speed of light, keV nm. CODATA 2022 (both exact in the SI). */
export const HC_KEV_NM = 1.239841984332;

/** Photon wavelength in nanometres for an energy in keV. @source CODATA 2022: lambda = h c / E. */
export const wavelengthNm = (energyKeV: number): number => HC_KEV_NM / energyKeV;
