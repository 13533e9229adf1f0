from .test_query_counts import *
from django.test.utils import CaptureQueriesContext
from django.db import connection
import re, os
@pytest.mark.django_db
def test_list(data_folder):
    cast = play(CERTIFIED, HELD)
    with open('/tmp/bm/queries.txt','w') as fh:
        for badge, path in (("1009",f"/units/{HELD}/"),("1009",f"/units/{HELD}/release/"),("1009",f"/api/v1/units/{HELD}"),("1009",f"/units/{CERTIFIED}/")):
            client=signed_in(cast,badge)
            client.get(path)
            with CaptureQueriesContext(connection) as c:
                client.get(path)
            print(len(c), path, file=fh)
            for q in c:
                sql=q['sql']; m=re.search(r'FROM "(\w+)"',sql); w=sql.split('WHERE')[-1][:110] if 'WHERE' in sql else ''
                print('   ', sql[:10], m and m[1], '|', w, file=fh)
