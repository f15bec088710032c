from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont
from fontTools import subset, merge
import os
src='/tmp/loft/wt-export/web/node_modules/@fontsource-variable/atkinson-hyperlegible-next/files/atkinson-hyperlegible-next-latin%s-wght-normal.woff2'
out='/tmp/loft/wt-export/server/export/fonts/'
for w,name in [(400,'regular'),(700,'bold')]:
    parts=[]
    for ext in ['','-ext']:
        f=TTFont(src%ext); f.flavor=None
        f=instantiateVariableFont(f,{'wght':w})
        g=f['GSUB'].table if 'GSUB' in f else None
        if g and not ext:
            m={}
            for fr in g.FeatureList.FeatureRecord:
                if fr.FeatureTag=='tnum':
                    for li in fr.Feature.LookupListIndex:
                        for st in g.LookupList.Lookup[li].SubTable:
                            if hasattr(st,'ExtSubTable'): st=st.ExtSubTable
                            m.update(st.mapping)
            for t in f['cmap'].tables:
                for c,gl in list(t.cmap.items()):
                    if gl in m: t.cmap[c]=m[gl]
            print('tnum', len(m))
        for t in ['GSUB','GPOS','GDEF','STAT','prep','gasp','HVAR','MVAR','avar']:
            if t in f: del f[t]
        o=subset.Options(); o.notdef_outline=True; o.name_IDs=['*']; o.hinting=False
        s=subset.Subsetter(o); s.populate(unicodes=list(f.getBestCmap())); s.subset(f)
        p=f'/tmp/loft/f{w}{ext}.ttf'; f.save(p); parts.append(p)
    m=merge.Merger().merge(parts)
    # The OFL asks for the notice to stay: it is in the name table.
    m['head'].created=m['head'].modified=0
    m.recalcTimestamp=False
    p=out+f'atkinson-hyperlegible-next-{name}.ttf'
    m.save(p); print(p, os.path.getsize(p), len(m.getBestCmap()), m['name'].getDebugName(0), m['name'].getDebugName(13), m['hmtx'][m.getBestCmap()[ord('1')]], m['hmtx'][m.getBestCmap()[ord('8')]], m['OS/2'].usWeightClass)
