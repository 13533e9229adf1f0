import time, statistics, cProfile, pstats, os
import pytest
from django.db import connection, transaction
from qcapp.inspections.models import Result
from qcapp.inspections.services import drafts
from tests.factories.inspections import Workshop
from qcapp.lib.fields import uuid7

HEAD="stage_number,stage_name,hold_point,number,key,title,kind,nominal,limits,unit_of_measure,decimals,formula,form,criticality,gauge_kinds,frequency,second_inspection,joint\n"
PLAN=HEAD+"".join(f"{1+i//20},Stage {1+i//20},no,{100*(1+i//20)+i%20+1},key_{i},Point {i},measured,62.00,±0.15,mm,2,,,major,caliper,every,no,\n" for i in range(160))

@pytest.mark.django_db(transaction=True)
def test_speed(cast):
    if connection.vendor=="sqlite":
        with connection.cursor() as c: c.execute("PRAGMA synchronous=FULL")
    else:
        with connection.cursor() as c: c.execute("SET synchronous_commit=on"); c.execute("SHOW fsync"); print(c.fetchone())
    w=Workshop.opened(cast, plan=PLAN)
    mine=[];bare=[]
    N=int(os.environ.get("N","9"))
    cols=", ".join(drafts.COLUMNS)
    for n in range(N):
        u=w.another_unit(f"FR-200-1{n:03d}")
        ops=[u.operation(f"key_{i}","61.94",gauge="CA-01") for i in range(160)]
        if n==N-1 and os.environ.get("PROF"):
            pr=cProfile.Profile(); pr.enable()
        if os.environ.get("SECT") and n==1:
            import pathlib; exec(pathlib.Path("/tmp/sect.py").read_text(), globals())
        t=time.perf_counter(); ans=u.send(*ops); mine.append(time.perf_counter()-t)
        if n==N-1 and os.environ.get("PROF"):
            pr.disable(); pstats.Stats(pr).sort_stats(os.environ["PROF"]).print_stats(45)
        assert all(a.applied for a in ans), ans[0]
        with connection.cursor() as c:
            c.execute(f"SELECT {cols} FROM inspections_result WHERE item_id=%s",[u.item_id])
            rows=[list(r) for r in c.fetchall()]
        v=w.another_unit(f"FR-200-2{n:03d}")
        for r in rows:
            r[0]=uuid7() if connection.features.has_native_uuid_field else uuid7().hex
            r[2]=v.item_id
        if connection.vendor=="postgresql":
            import json
            for r in rows:
                r[22]=json.dumps(r[22]); r[24]=json.dumps(r[24])
        sql=f"INSERT INTO inspections_result ({cols}) VALUES ({', '.join(['%s']*len(drafts.COLUMNS))})"
        t=time.perf_counter()
        with transaction.atomic():
            with connection.cursor() as c: c.executemany(sql, rows)
        bare.append(time.perf_counter()-t)
    if os.environ.get("SECT"):
        for k,v in sorted(T.items(), key=lambda x:-x[1]): print(f"{k:16} {v/(N-1)*1e3:.2f} ms")
    print("\nmine", [round(x*1e3,1) for x in mine], "bare", [round(x*1e3,1) for x in bare])
    print("median", statistics.median(mine)*1e3, statistics.median(bare)*1e3, "ratio", statistics.median(mine)/statistics.median(bare), "min", min(mine)*1e3, min(bare)*1e3, min(mine)/min(bare))
