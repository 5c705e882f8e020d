/** How far a scan is looked for: told before a build, and kept to in it. */

/** Widest region that is searched, as a multiple of the field: beyond it a pixel of the search would hold too much. */
export const WIDEST_SEARCH_FIELDS = 40;
