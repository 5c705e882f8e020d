/**
 * The one error that a wrong input raises here. The generator shares nothing but units with the pipeline, so it has
 * its own; the five parts of the message are the same.
 */
export interface DemoFaultFields {
  readonly file: string;
  readonly place?: string;
  readonly expected?: string;
  readonly found?: string;
  readonly remedy?: string;
}

export class DemoFault extends Error {
  readonly fields: DemoFaultFields;
  constructor(fields: DemoFaultFields) {
    const parts = [fields.place ? `${fields.file}, ${fields.place}` : fields.file];
    if (fields.expected) parts.push(`expected ${fields.expected}`);
    if (fields.found) parts.push(`found ${fields.found}`);
    if (fields.remedy) parts.push(fields.remedy);
    super(parts.join(': '));
    this.name = 'DemoFault';
    this.fields = fields;
  }
}
