"""A bad connection: a proxy that loses requests, answers, and halves of either."""

import collections
import random
import socket
import threading

KINDS = ("before", "after", "cut", "half-answer")


class BadLine:
    """Stands between phones and a site, and harms what goes to its API.

    before       the request never reaches the site
    after        the site has heard it and its answer is lost
    cut          the site gets half of what was sent
    half-answer  the phone gets half of the answer
    """

    def __init__(self, port, *, share=0.15, seed=1):
        self.target, self.share = port, share
        self.chance = random.Random(seed)
        self.counts = collections.Counter()
        self.lock = threading.Lock()
        self.listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        self.port = self.listener.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.is_open = True
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self):
        self.is_open = False
        self.listener.close()

    def _accept(self):
        while self.is_open:
            try:
                line, _ = self.listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(line,), daemon=True).start()

    def _fault(self, path):
        if not path.startswith(b"/api/"):
            return ""
        with self.lock:
            if self.chance.random() >= self.share:
                self.counts["passed"] += 1
                return ""
            kind = self.chance.choice(KINDS)
            self.counts[kind] += 1
            return kind

    def _serve(self, line):
        # One request a connection keeps this readable: the site is told to close.
        with line:
            line.settimeout(60)
            try:
                head, body = _request(line)
                if head:
                    self._pass(line, head, body)
            except OSError:
                return

    def _pass(self, line, head, body):
        fault = self._fault(head.split(b" ", 2)[1])
        if fault == "before":
            return
        try:
            onward = socket.create_connection(("127.0.0.1", self.target), 60)
        except OSError:
            self.counts["site down"] += 1
            return
        with onward:
            if fault == "cut":
                onward.sendall(head + body[: len(body) // 2])
                return
            onward.sendall(head + body)
            answer = b""
            while piece := onward.recv(65536):
                answer += piece
            if fault == "after":
                return
            if fault == "half-answer":
                answer = answer[: len(answer) // 2]
            line.sendall(answer)


def _request(line):
    """Read one whole request; its head asks the site to close the connection after."""
    data = b""
    while b"\r\n\r\n" not in data:
        piece = line.recv(65536)
        if not piece:
            return b"", b""
        data += piece
    head, _, body = data.partition(b"\r\n\r\n")
    rows = [
        row for row in head.split(b"\r\n") if not row.lower().startswith(b"connection:")
    ]
    length = 0
    for row in rows:
        if row.lower().startswith(b"content-length:"):
            length = int(row.split(b":", 1)[1])
    while len(body) < length:
        piece = line.recv(65536)
        if not piece:
            raise OSError("cut short by the phone")
        body += piece
    return b"\r\n".join([*rows, b"Connection: close"]) + b"\r\n\r\n", body
