"""A bench for the tests: the real program in a folder of its own, and a browser of the simplest kind."""
import http.client
import json
import os
import pathlib
import secrets
import signal
import subprocess
import tempfile
import urllib.parse

FORM = {"Content-Type": "application/x-www-form-urlencoded"}


class Bench:
    def __init__(self, program, folder, *more):
        self.program, self.folder, self.cookie = program, pathlib.Path(folder), None
        self.before_request = lambda: None
        self.log = tempfile.TemporaryFile()
        self.process = subprocess.Popen([program, "bench", str(folder), "--port", "0", "--json", *more],
                                        stdout=subprocess.PIPE, stderr=self.log)
        line = self.process.stdout.readline()
        if not line:
            self.process.wait()
            raise RuntimeError(f"no bench: {self.said()}")
        opened = json.loads(line)
        self.port, self.code = opened["port"], opened["page"].rsplit("/", 1)[1]

    def said(self):
        self.log.seek(0)
        return self.log.read().decode(errors="replace")

    def ask(self, method, path, body=None, headers=None, host=None, cookie=True, origin=True, timeout=60):
        """Status, headers in lower case, body."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        all_headers = {"Accept": "application/json"}
        if cookie and self.cookie:
            all_headers["Cookie"] = self.cookie
        if method == "POST" and origin:
            all_headers["Origin"] = f"http://127.0.0.1:{self.port}"
        all_headers.update(headers or {})
        if host is not None:
            all_headers["Host"] = host
        self.before_request()
        try:
            connection.request(method, path, body=body, headers=all_headers)
            answer = connection.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        finally:
            connection.close()

    def tell(self, path, **fields):
        return self.ask("POST", path, urllib.parse.urlencode(fields), FORM)

    def get_json(self, path):
        status, _, body = self.ask("GET", path)
        assert status == 200, (status, body)
        return json.loads(body)

    def pair(self):
        status, headers, body = self.tell("/pair", code=self.code, device="test")
        assert status == 303, (status, body)
        self.cookie = headers["set-cookie"].split(";")[0]

    def new_scan(self, plan, bowl="Plover", scan="Ring 1"):
        """The place of a new bowl's new scan."""
        query = urllib.parse.urlencode({"name": bowl, "from": "plan"})
        status, _, body = self.ask("POST", "/new?" + query, plan)
        assert status == 200, (status, body)
        return self.add_scan(json.loads(body)["place"], scan)

    def add_scan(self, bowl_place, scan):
        status, headers, body = self.tell(bowl_place + "/scans", name=scan)
        assert status == 303, (status, body)
        return headers["location"]

    def send(self, place, photo, slice_bytes=1 << 20, upload=None, headers=None):
        """Sends a photo as the page does, going on where the bench says: status and its last answer."""
        upload, at = upload or secrets.token_hex(16), 0
        while True:
            status, _, body = self.ask("POST", f"{place}/slice?id={upload}&at={at}&total={len(photo)}",
                                       photo[at:at + slice_bytes], headers)
            answer = json.loads(body) if body.startswith(b"{") else {"fault": body.decode(errors="replace")}
            if status not in (202, 409):
                return status, answer
            at = answer["have"]

    def children(self):
        """Process ids of this bench's readers."""
        found = []
        for entry in pathlib.Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            try:
                fields = (entry / "stat").read_text().rsplit(")", 1)[1].split()
                if int(fields[1]) == self.process.pid and b"--worker" in (entry / "cmdline").read_bytes():
                    found.append(int(entry.name))
            except (OSError, IndexError):
                pass
        return found

    def memory_mb(self):
        for line in pathlib.Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmRSS"):
                return int(line.split()[1]) / 1024
        return 0

    def kill(self):
        self.process.kill()
        self.process.wait()

    def stop(self):
        """Ends as by Ctrl-C; the exit code."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(timeout=60)


class Checks:
    def __init__(self):
        self.failed = 0

    def __call__(self, holds, what):
        if not holds:
            self.failed += 1
        print(("ok    " if holds else "FAILED") + " " + what, flush=True)
        return holds

    def end(self):
        print(f"{self.failed} checks failed" if self.failed else "all checks hold")
        return 1 if self.failed else 0
