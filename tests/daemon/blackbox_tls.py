# SPDX-License-Identifier: GPL-3.0-or-later
"""Over TCP: TLS 1.3, checked with a foreign client (openssl s_client), tokens, certificates."""

import contextlib
import hashlib
import json
import os
import pathlib
import socket
import ssl
import subprocess
import unittest

from daemon_case import PROGRAM, DaemonCase
from gradusd import LIMIT_S, Client


def openssl(*words, **options):
    return subprocess.run(["openssl", *words], capture_output=True, check=True, timeout=LIMIT_S,
                          **options)


def line(method, number, *parameters):
    return json.dumps({"jsonrpc": "2.0", "id": number, "method": method,
                       "params": list(parameters)}).encode() + b"\n"


class TcpCase(DaemonCase):
    """A daemon with TLS on loopback; `self.token` may measure."""

    def setUp(self):
        self.made = 0
        self.names = None
        super().setUp()
        self.token = self.make_token("bench-4", "measure")
        self.daemon.reload(self.settings())

    def make_token(self, name, role, *days):
        return subprocess.run([PROGRAM, "--token", f"{self.folder}/tokens", name, role, *days],
                              capture_output=True, text=True, check=True).stdout.strip()

    def certificate(self, name, *words):
        """Certificate and key by themselves, or from an authority by `words`."""
        path = os.path.join(self.folder, name)
        openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
                "-nodes", "-days", "2", "-keyout", path + ".key", "-out", path + ".pem", *words)
        return path

    def settings(self, ambient=23.0, more=""):
        if self.names is None:
            self.names = {"own": self.certificate("own", "-subj", "/CN=gradusd", "-addext",
                                                  "subjectAltName=IP:127.0.0.1"),
                          "ca": self.certificate("ca", "-subj", "/CN=authority")}
            self.make_token("first", "administer")
        tcp = (f'tcp = {{ port = 7425; certificate = "{self.folder}/own.pem"; '
               f'key = "{self.folder}/own.key"; clients_ca = "{self.folder}/ca.pem"; }};')
        access = (f'access = {{ tokens = "{self.folder}/tokens"; certificates = '
                  '( { subject = "CN=rack-7,O=Larkrise"; role = "look"; } ); };\n')
        text = super().settings(ambient, more)
        return text.replace("server = {", "server = { " + tcp) + access

    def foreign(self, lines, *words):
        """What openssl's client gets for these lines; its status and what it says of itself."""
        address, port = self.daemon.tcp
        done = subprocess.run(["openssl", "s_client", "-connect", f"{address}:{port}", "-CAfile",
                               f"{self.folder}/own.pem", "-verify_return_error", "-ign_eof",
                               "-quiet", *words], input=lines, capture_output=True,
                              timeout=LIMIT_S)
        return [json.loads(each) for each in done.stdout.splitlines()], done

    def gradus(self, *words, **environment):
        address, port = self.daemon.tcp
        return subprocess.run([os.environ["GRADUS"], "--socket", f"tcp:{address}:{port}", *words],
                              capture_output=True, text=True, timeout=LIMIT_S,
                              env=os.environ | environment)

    def secure_client(self, token=None):
        """A connection of the test's own, through TLS."""
        client = Client(self.daemon.tcp, tls=ssl.create_default_context(
            cafile=f"{self.folder}/own.pem"))
        self.addCleanup(client.close)
        if token is not None:
            client.call("authenticate", token)
        return client


class Foreign(TcpCase):
    # A line that is no JSON ends the connection: what s_client waits for.
    END = b"end\n"

    def test_a_token_is_taken(self):
        answers, done = self.foreign(line("authenticate", 1, self.token) + line("points", 2) +
                                     line("hold", 3, "meter") + self.END)
        self.assertEqual(answers[0]["result"], {"name": "token bench-4", "role": "measure"}, done)
        self.assertIn("result", answers[1])
        self.assertEqual(answers[2]["error"]["code"], -32024)
        self.assertIn("token bench-4", answers[2]["error"]["data"]["what"])

    def test_nothing_older_than_1_3(self):
        for version in ("-tls1_2", "-no_tls1_3"):
            answers, done = self.foreign(line("points", 1) + self.END, version)
            self.assertEqual((answers, done.returncode != 0), ([], True))
        answers, _ = self.foreign(line("points", 1) + self.END, "-tls1_3")
        self.assertEqual(answers[0]["error"]["code"], -32024)

    def test_plain_text_gets_nothing(self):
        with socket.create_connection(self.daemon.tcp, LIMIT_S) as plain:
            plain.sendall(line("authenticate", 1, self.token))
            received = b""
            with contextlib.suppress(ConnectionResetError):
                received = b"".join(iter(lambda: plain.recv(4096), b""))
        self.assertNotIn(b"jsonrpc", received)

    def test_certificates(self):
        for name, subject, role in (("known", "/O=Larkrise/CN=rack-7", "look"),
                                    ("other", "/O=Larkrise/CN=rack-8", "none"),
                                    ("forged", "/CN=rack-7,O=Larkrise", "none")):
            path = self.certificate(name, "-subj", subject, "-CA", f"{self.folder}/ca.pem", "-CAkey",
                                    f"{self.folder}/ca.key")
            answers, done = self.foreign(line("health", 1) + line("measure", 2, "rail") + self.END,
                                         "-cert", path + ".pem", "-key", path + ".key")
            if role == "look":
                self.assertIn("result", answers[0], done)
                self.assertIn("certificate CN=rack-7,O=Larkrise", answers[1]["error"]["data"]["what"])
            else:
                self.assertEqual(answers[0]["error"]["code"], -32024, name)
        stranger = self.certificate("stranger", "-subj", "/O=Larkrise/CN=rack-7")
        answers, _ = self.foreign(line("health", 1) + self.END, "-cert", stranger + ".pem", "-key",
                                  stranger + ".key")
        self.assertEqual(answers, [])

    def test_a_new_certificate_by_a_signal(self):
        kept = self.secure_client(self.token)
        before = ssl.get_server_certificate(self.daemon.tcp)
        self.certificate("own", "-subj", "/CN=gradusd", "-addext", "subjectAltName=IP:127.0.0.1")
        self.daemon.reload()
        self.assertNotEqual(ssl.get_server_certificate(self.daemon.tcp), before)
        self.assertTrue(kept.call("health"))
        self.assertTrue(self.secure_client(self.token).call("health"))

    def test_much_at_a_time(self):
        """More than a socket's buffer, both ways, and the end of the stream after it."""
        client = self.secure_client(self.token)
        client.send_raw(line("points", 1) * 3000)
        for _ in range(3000):
            self.assertIn("result", client.read())
        client.send_raw(b" " * 65000 + line("health", 2))
        self.assertEqual(client.read()["id"], 2)


class Command(TcpCase):
    def test_measures(self):
        done = self.gradus("measure", "rail", GRADUS_CA=f"{self.folder}/own.pem",
                           GRADUS_TOKEN=self.token)
        self.assertEqual(done.returncode, 0, done)
        path = os.path.join(self.folder, "mine")
        with open(path, "w", encoding="ascii") as out:
            out.write(self.token + "\n")
        done = self.gradus("points", "--ca", f"{self.folder}/own.pem", GRADUS_TOKEN_FILE=path)
        self.assertEqual(done.returncode, 0, done)
        self.assertIn("rail", done.stdout)

    def test_knows_whom_it_talks_to(self):
        done = self.gradus("points", GRADUS_CA=f"{self.folder}/ca.pem", GRADUS_TOKEN=self.token)
        self.assertEqual((done.returncode, done.stdout), (3, ""))
        self.assertIn("certificate", done.stderr)
        self.certificate("own", "-subj", "/CN=gradusd", "-addext", "subjectAltName=IP:127.0.0.9")
        self.daemon.reload()
        done = self.gradus("points", GRADUS_CA=f"{self.folder}/own.pem", GRADUS_TOKEN=self.token)
        self.assertEqual(done.returncode, 3, done)

    def test_shows_a_certificate(self):
        path = self.certificate("known", "-subj", "/O=Larkrise/CN=rack-7", "-CA",
                                f"{self.folder}/ca.pem", "-CAkey", f"{self.folder}/ca.key")
        pathlib.Path(path + ".both").write_text("".join(
            pathlib.Path(path + end).read_text("ascii") for end in (".pem", ".key")), "ascii")
        done = self.gradus("points", "--ca", f"{self.folder}/own.pem", "--identity", path + ".both")
        self.assertEqual(done.returncode, 0, done)
        done = self.gradus("measure", "rail", "--ca", f"{self.folder}/own.pem", "--identity",
                           path + ".both")
        self.assertEqual(done.returncode, 2, done)
        self.assertIn("not allowed", done.stderr)


class Tokens(TcpCase):
    def test_a_token_is_kept_nowhere(self):
        with open(f"{self.folder}/tokens", encoding="ascii") as file:
            text = file.read()
        self.assertNotIn(self.token, text)
        self.assertIn(hashlib.sha256(self.token.encode()).hexdigest(), text)
        self.assertEqual(os.stat(f"{self.folder}/tokens").st_mode & 0o777, 0o640)
        self.assertEqual(len(self.token), 43)
        self.assertNotIn(self.token, self.daemon.log)

    def test_taken_back(self):
        client = self.secure_client(self.token)
        with open(f"{self.folder}/tokens", encoding="ascii") as file:
            kept = [each for each in file if not each.startswith("bench-4")]
        with open(f"{self.folder}/tokens", "w", encoding="ascii") as file:
            file.writelines(kept)
        self.daemon.reload()
        self.assertIn("taken back", client.read()["error"]["data"]["what"])
        self.assertIsNone(client.read_line())

    def test_run_out(self):
        with open(f"{self.folder}/tokens", "a", encoding="ascii") as file:
            file.write(f"old run 2020-01-31 {hashlib.sha256(b'x').hexdigest()}\n")
        self.daemon.reload()
        error = self.refused(self.secure_client().call, "authenticate", "x")
        self.assertEqual(error.code, -32024)

    def test_guessing_is_slow(self):
        client = self.secure_client()
        for _ in range(10):
            self.assertIn("not known", self.refused(client.call, "authenticate", "guess").data["what"])
        for token in ("guess", self.token):
            error = self.refused(self.secure_client().call, "authenticate", token)
            self.assertIn("too many wrong tokens", error.data["what"])
        told = "a wrong token came from 127.0.0.1"
        self.daemon.wait_log(told, self.daemon.wait_log(told) + 1)
        self.assertEqual(self.daemon.log.count(told), 2)

    def test_a_file_with_mistakes_changes_nothing(self):
        for text in ("bench-4 king 2099-01-01 " + "0" * 64, "x run 2099-01-01 12", "x run",
                     f"first run 2099-01-01 {'0' * 64}\nfirst look 2099-01-01 {'1' * 64}"):
            with open(f"{self.folder}/tokens", "r+", encoding="ascii") as file:
                before = file.read()
                file.write(text + "\n")
            self.assertIn("old settings stay", "\n".join(self.daemon.reload()))
            with open(f"{self.folder}/tokens", "w", encoding="ascii") as file:
                file.write(before)
        os.chmod(f"{self.folder}/tokens", 0o646)
        self.assertIn("of mode 0646", "\n".join(self.daemon.reload()))
        self.assertTrue(self.secure_client(self.token).call("health"))


class Check(TcpCase):
    def test_tcp_without_names_or_secrets_is_refused(self):
        whole = self.settings()
        for tcp, access, says in (
                ("port = 1;", "", "access.tokens"),
                ('port = 1; address = "192.0.2.1";', f'tokens = "{self.folder}/tokens";',
                 "certificate"),
                (f'port = 1; key = "{self.folder}/own.key";', f'tokens = "{self.folder}/tokens";', "both"),
                ("port = 1;", 'tokens = "/nowhere";', "/nowhere"),
                (f'port = 1; key = "{self.folder}/ca.key"; certificate = "{self.folder}/own.pem";',
                 f'tokens = "{self.folder}/tokens";', "key")):
            text = whole.split("access = ")[0].replace(whole.split("tcp = { ")[1].split(" };")[0], tcp)
            path = os.path.join(self.folder, "try.cfg")
            with open(path, "w", encoding="utf-8") as out:
                out.write(text + f"access = {{ {access} }};\n")
            done = subprocess.run([PROGRAM, "--check", path], capture_output=True, text=True)
            self.assertEqual(done.returncode, 2, (tcp, done))
            self.assertIn(says, done.stderr)


if __name__ == "__main__":
    unittest.main()
