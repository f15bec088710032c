import { describe, expect, it } from 'vitest';
import { guessed, headOf } from './log';

describe('the log of a vehicle', () => {
  it('has a header row behind remarks, whatever separates its columns', () => {
    expect(headOf('# made on the bench\r\nms;baro_hpa;"alt, m"\r\n0;876;0\r\n')).toEqual({
      separator: ';',
      columns: ['ms', 'baro_hpa', 'alt, m'],
    });
    expect(headOf('time,pressure')?.separator).toBe(',');
    expect(headOf('\n# nothing else\n')).toBeNull();
    expect(headOf('just words')).toBeNull();
  });

  it('is taken by the names of its columns until a person says otherwise', () => {
    const { time, columns } = guessed({ separator: ',', columns: ['ms', 'baro_hpa', 'acc_g', 'notes'] });
    expect(time).toEqual({ column: 'ms', unit: 'ms' });
    const of = (means: string) => columns.find((c) => c.means === means);
    expect(of('pressure')).toMatchObject({ column: 'baro_hpa', unit: 'hPa' });
    expect(of('axial specific force')).toMatchObject({ column: 'acc_g', unit: 'g' });
    expect(of('tilt')?.column).toBe('');
    expect(guessed({ separator: ',', columns: ['a', 'b'] }).time).toEqual({ column: 'a', unit: 's' });
  });
});
