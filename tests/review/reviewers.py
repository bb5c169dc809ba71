"""Simulated reviewers for locust: each has a name, looks at tags, decides, takes back, labels and writes notes.

Run by ``test_reviewers.py``, or by hand against review pages that are running:

    ELBOWROOM_ACKNOWLEDGED=acknowledged.jsonl locust -f tests/review/reviewers.py --headless -u 50 -r 25 -t 30s \
        --host http://127.0.0.1:8765

Every change that a page acknowledged is written into that file, one JSON object a line, for whoever compares it with
the store afterwards.
"""

import itertools
import json
import os
import random

from locust import HttpUser, between, task

VERDICTS = ("confirmed", "rejected", "unsure")
NUMBERS = itertools.count(1)


class Reviewer(HttpUser):
    """Somebody who decides about as fast as a person with one key for each verdict does, and never tires."""

    wait_time = between(0.4, 1.6)

    def on_start(self) -> None:
        """Say a name, and see which tags there are."""
        number = next(NUMBERS)
        self.who = f"Reviewer {number}"
        self.chance = random.Random(number)
        self.written = 0
        self.client.headers["Origin"] = self.host or ""
        with self.client.post("/me", data={"csrf": self._token(), "name": self.who}, catch_response=True) as answer:
            if answer.status_code != 200:
                answer.failure(f"no name: {answer.status_code}")
        self.client.headers["X-CSRF-Token"] = self._token()
        self.tags = json.loads(os.environ["ELBOWROOM_TAGS"])
        self.revisions: dict[int, int] = {}

    @task(1)
    def open_the_queue(self) -> None:
        """The page with all that is left to decide."""
        self.client.get("/queue", name="GET /queue")

    @task(1)
    def look_at_one(self) -> None:
        """What the player draws and the card says; the revision that the reviewer has seen from now on."""
        tag = self.chance.choice(self.tags)
        answer = self.client.get(f"/api/tags/{tag}", name="GET /api/tags/N")
        if answer.ok:
            self.revisions[tag] = answer.json()["revision"]

    @task(10)
    def decide(self) -> None:
        """A verdict on what was seen; whoever was slower must be told of the faster one, and looks again."""
        tag = self.chance.choice(list(self.revisions) or self.tags)
        told = {
            "verdict": self.chance.choice(VERDICTS),
            "text": self._text(),
            "revision": self.revisions.get(tag, 1),
        }
        self._change(tag, "decide", told, told["text"])

    @task(2)
    def note(self) -> None:
        """A note."""
        tag = self.chance.choice(list(self.revisions) or self.tags)
        told = {"text": self._text(), "revision": self.revisions.get(tag, 1)}
        self._change(tag, "note", told, told["text"])

    @task(2)
    def label(self) -> None:
        """A label, which never conflicts."""
        label = self._text()
        self._change(self.chance.choice(self.tags), "label", {"add": [label]}, f"+ {label}")

    def _text(self) -> str:
        self.written += 1
        return f"{self.who}, {self.written}"

    def _token(self) -> str:
        return str(self.client.get("/api/me", name="GET /api/me").json()["token"])

    def _change(self, tag: int, deed: str, told: dict[str, object], line: str) -> None:
        path = f"/api/tags/{tag}/{deed}"
        with self.client.post(path, json=told, name=f"POST {deed}", catch_response=True) as answer:
            if answer.status_code == 200:
                self.revisions[tag] = answer.json()["revision"]
                with open(os.environ["ELBOWROOM_ACKNOWLEDGED"], "a", encoding="utf-8") as file:
                    file.write(json.dumps({"tag": tag, "line": line, "who": self.who, "deed": deed}) + "\n")
            elif answer.status_code == 409 and answer.json()["last"]["who"] != self.who and deed != "label":
                self.revisions[tag] = answer.json()["current"]["revision"]
                answer.success()  # told of somebody who was faster
            else:
                answer.failure(f"{answer.status_code}: {answer.text[:200]}")
