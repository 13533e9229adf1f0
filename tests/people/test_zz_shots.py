import pytest
from playwright.sync_api import sync_playwright
from tests.cast import PASSWORD, FIXED_NOW
from qcapp.people import services
from datetime import date
@pytest.mark.django_db(transaction=True)
def test_shots(live_server, tmp_path, settings):
    settings.QCAPP_DATA_DIR=tmp_path
    from tests.cast import Cast, PARTS
    cast=Cast()
    for n in PARTS: getattr(cast,n)
    services.add_person(by=cast.keeper,badge="3000",name="Newcomer Florian Beck-Amsel",initials="N",at=FIXED_NOW)
    services.give_role(by=cast.keeper,person=cast.welder,role="inspector",at=FIXED_NOW)
    services.name_deputy(by=cast.keeper,person=cast.engineer,deputy=cast.welding_coordinator,role="engineer",starts_on=date(2026,11,1),ends_on=date(2027,1,5),at=FIXED_NOW)
    with sync_playwright() as p:
        b=p.chromium.launch(executable_path="/usr/bin/chromium",args=["--no-sandbox"])
        page=b.new_page(viewport={"width":1280,"height":800})
        errs=[]
        page.on("console", lambda m: errs.append(m.text) if m.type in("error","warning") else None)
        page.goto(live_server.url+"/sign-in/?ended=1&next=/people/")
        page.screenshot(path="/tmp/s_signin.png",full_page=True)
        page.fill("[name=badge]","1101"); page.fill("[name=password]",PASSWORD); page.click("main button")
        page.screenshot(path="/tmp/s_people.png",full_page=True)
        page.goto(live_server.url+f"/people/{cast.engineer.uuid}/"); page.screenshot(path="/tmp/s_person.png",full_page=True)
        page.goto(live_server.url+"/account/"); page.screenshot(path="/tmp/s_account.png",full_page=True)
        page.goto(live_server.url+"/audit/"); page.click("text=Check the whole chain"); page.screenshot(path="/tmp/s_audit.png",full_page=True)
        page.set_viewport_size({"width":420,"height":800}); page.goto(live_server.url+f"/people/{cast.engineer.uuid}/"); page.screenshot(path="/tmp/s_narrow.png",full_page=True)
        print(errs); b.close()
