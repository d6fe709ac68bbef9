"""A file goes with a message where the channel takes one, and the message goes all the same where not."""

from pathlib import Path

import pytest

from tests.links.mail_and_web import mail_server, web_server
from traywarden.links.channels import AppriseChannel, Message
from traywarden.settings import Channel, Secret

REPORT = "<!doctype html>\n<title>The week 🍅</title>\n"


@pytest.fixture
def message(tmp_path: Path) -> Message:
    file = tmp_path / "week-2026-03-15.html"
    file.write_text(REPORT, encoding="utf-8")
    return Message("week-2026-03-15-abcdef", "info", "The week", "It was dry.", file)


def test_mail_carries_the_report(message: Message) -> None:
    with mail_server() as inbox:
        AppriseChannel(Channel("mail", Secret(inbox.url()))).send(message)
    (mail,) = inbox.mails
    (attached,) = mail.iter_attachments()
    assert attached.get_filename() == "week-2026-03-15.html"
    assert attached.get_content_type() == "text/html"
    content = attached.get_payload(decode=True)
    assert isinstance(content, bytes)
    assert content.decode() == REPORT
    body = mail.get_body(("plain",))
    assert body is not None
    assert "It was dry." in body.get_content()


def test_a_file_that_is_gone_keeps_no_message_back(message: Message) -> None:
    assert message.attachment is not None
    message.attachment.unlink()
    with mail_server() as inbox:
        AppriseChannel(Channel("mail", Secret(inbox.url()))).send(message)
    assert "It was dry." in inbox.mails[0].get_content()


def test_a_web_hook_is_told_whether_or_not_it_takes_files(message: Message) -> None:
    with web_server() as hook:
        AppriseChannel(Channel("hook", Secret(hook.url()))).send(message)
        assert hook.wait_for(1)
    assert "It was dry." in hook.got[0]["message"]
