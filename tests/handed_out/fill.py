"""Fills a copy of a stored flight with estimates: hours x bodies x rate, straight into the derived file."""
import json, sqlite3, sys, time
import numpy as np
folder, hours, bodies, rate = sys.argv[1], float(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4])
db = sqlite3.connect(f'{folder}/derived.db')
db.execute('PRAGMA journal_mode=OFF'); db.execute('PRAGMA synchronous=OFF')
row = db.execute("select input,t_ns,t_receive_ns,utc_offset_ns,flight,data from output where kind='estimate' and flight=1 and json_extract(data,'$.estimate.estimate.lean_rad') is not null and json_extract(data,'$.estimate.estimate.east_north_m') is not null limit 1").fetchone()
assert row, 'no estimate with everything in it'
said = json.loads(row[5])
numbers = []
def template(v):
    if isinstance(v, dict): return '{' + ','.join(f'"{k}":{template(x)}' for k, x in v.items()) + '}'
    if isinstance(v, list): return '[' + ','.join(template(x) for x in v) + ']'
    if isinstance(v, float): numbers.append(v); return '%r'
    if isinstance(v, bool) or v is None: return json.dumps(v)
    if isinstance(v, int): numbers.append(float(v)); return '%r'
    return json.dumps(v).replace('%', '%%')
inner = template(said['estimate']['estimate'])
base = np.array(numbers)
flight = db.execute('select opened_ns, first_input from flight where number=1').fetchone()
epoch = row[1] - int(numbers[0] * 1e9)
db.execute('delete from output'); db.execute("delete from flight where number<>1"); db.execute('delete from smoothed'); db.execute('delete from hindsight'); db.execute('delete from snapshot')
n = int(hours * 3600 * rate)
rng = np.random.default_rng(1)
t0 = numbers[0]; seq = 1; started = time.time()
for first in range(0, n, 5000):
    rows = []
    for i in range(first, min(first + 5000, n)):
        t = t0 + i / rate
        figures = base * (1 + 0.2 * rng.standard_normal((bodies, len(base))))
        for b in range(bodies):
            f = figures[b]; f[0] = t + b * 0.001
            rows.append((seq, row[0], epoch + int(f[0] * 1e9), row[2], row[3], 1, 'estimate', b, '{"estimate":{"body":%d,"estimate":' % b + inner % tuple(f.tolist()) + '}}'))
            seq += 1
    db.executemany('insert into output (seq,input,t_ns,t_receive_ns,utc_offset_ns,flight,kind,body,data) values (?,?,?,?,?,?,?,?,?)', rows)
db.commit(); db.close()
print(seq - 1, 'rows in', round(time.time() - started, 1), 's')
