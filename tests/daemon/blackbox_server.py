# SPDX-License-Identifier: GPL-3.0-or-later
"""The daemon's sockets from outside: lines, JSON-RPC to the letter, what each method answers."""

import json
import os
import socket
import struct
import subprocess
import unittest

from daemon_case import DaemonCase
from gradusd import GradusdError, RpcError


def request(method, number=None, params=None):
    """One request as a dictionary; without a number it is a notification."""
    fields = {"jsonrpc": "2.0", "method": method}
    if number is not None:
        fields["id"] = number
    if params is not None:
        fields["params"] = params
    return fields


class Table(DaemonCase):
    """The table of methods, as programs and people are told it."""

    def test_methods_are_told_with_their_parameters(self):
        methods = {each["method"]: each for each in self.client.call("methods")}
        self.assertEqual([each["name"] for each in methods["measure"]["parameters"]],
                         ["point", "repeat", "deadline_ms", "job"])
        repeat = methods["measure"]["parameters"][1]
        self.assertEqual((repeat["required"], repeat["default"]), (False, 1))
        self.assertEqual(repeat["expected"], "an integer from 1 to 10000")
        self.assertIn("methods", methods)
        self.assertTrue(all(each["help"] and each["result"] for each in methods.values()))

    def test_the_command_shows_them(self):
        run = lambda *words: subprocess.run(
            [os.environ["GRADUS"], "--socket", "unix:" + self.daemon.unix, *words],
            capture_output=True, text=True)
        self.assertIn("\nburnin.study: ", run("help", "methods").stdout)
        one = run("help", "methods", "hold")
        self.assertEqual(one.returncode, 0, one)
        self.assertIn("instrument: name of the instrument", one.stdout)
        self.assertNotIn("measure", one.stdout)
        none = run("help", "methods", "mesure")
        self.assertEqual((none.returncode, none.stdout), (2, ""))
        self.assertIn("mesure", none.stderr)


class Lines(DaemonCase):
    """Framing, on both kinds of socket."""

    def both(self):
        return self.client, self.daemon.client(tcp=True)

    def test_line_too_long_is_told_and_closes(self):
        for client in self.both():
            client.send_raw(b'{"jsonrpc":"2.0","id":1,"method":"' + b"x" * 200000)
            reply = client.read()
            self.assertEqual(reply["error"]["code"], -32700)
            self.assertIsNone(reply["id"])
            self.assertIsNone(client.read_line())
            client.close()
        client = self.daemon.client()
        self.until(lambda: client.call("health")["clients"] == 1)

    def test_longest_line_is_taken(self):
        line = json.dumps(request("health", 1)).encode()
        for client in self.both():
            client.send_raw(line.ljust(65536) + b"\n")
            self.assertIn("result", client.read())

    def test_half_a_line_and_gone(self):
        for tcp in (False, True):
            gone = self.daemon.client(tcp=tcp)
            gone.call("health")
            gone.send_raw(json.dumps(request("hold", 1, ["meter"])).encode())
            gone.close()
        self.until(lambda: self.client.call("health")["clients"] == 1)
        self.assertFalse(self.instrument()["held"])

    def test_no_json(self):
        """Told what is wrong, and closed: what follows is not looked at."""
        hold = json.dumps(request("hold", 1, ["meter"])).encode()
        for tcp in (False, True):
            for bad in (b"{", b"[", b"]", b"nothing", b'{"jsonrpc":"2.0","id":1', b'"\xff"',
                        b'{"id":1,"id":2}', b"\x00", b"1 2", b"[" * 60000, b"1e999",
                        b'{"jsonrpc":"2.0","method":"health","id":1}}'):
                with self.daemon.client(tcp=tcp) as client:
                    client.send_raw(bad + b"\n" + hold + b"\n")
                    reply = client.read()
                    self.assertEqual(reply["error"]["code"], -32700, bad)
                    self.assertEqual((reply["jsonrpc"], reply["id"]), ("2.0", None))
                    self.assertNotIn("result", reply)
                    self.assertIsNone(client.read_line())
        self.assertFalse(self.instrument()["held"])

    def test_a_page_in_a_browser_is_no_client(self):
        """What any page may POST to any port (Fetch standard, CORS-safelisted request)."""
        body = json.dumps(request("hold", 1, ["meter"]))
        for head in ("POST / HTTP/1.1", "POST /?a b HTTP/1.1", "GET /x HTTP/1.0", "OPTIONS * HTTP/1.1",
                     "PRI * HTTP/2.0"):
            for tcp in (False, True):
                with self.daemon.client(tcp=tcp) as client:
                    client.send_raw(f"{head}\r\nHost: localhost\r\nContent-Type: text/plain\r\n"
                                    f"Content-Length: {len(body) + 1}\r\n\r\n{body}\n".encode())
                    answer = b"".join(line + b"\n" for line in iter(client.read_line, None))
                lines, _, text = answer.partition(b"\r\n\r\n")
                self.assertTrue(lines.startswith(b"HTTP/1.1 400 "), head)
                self.assertIn(f"Content-Length: {len(text)}\r\n".encode(), lines)
                self.assertIn(b"JSON-RPC", text)
        self.assertFalse(self.instrument()["held"])

    def test_carriage_returns_blanks_and_pieces(self):
        line = json.dumps(request("health", "a")).encode()
        for client in self.both():
            client.send_raw(b"\n\r\n  \t\n" + line + b"\r\n\n")
            self.assertEqual(client.read()["id"], "a")
            for byte in line + b"\r\n":
                client.send_raw(bytes([byte]))
            self.assertEqual(client.read()["id"], "a")

    def test_many_requests_in_one_packet(self):
        for client in self.both():
            lines = [json.dumps(request("explain", i, ["rail"])) for i in range(700)]
            client.send_raw("\n".join(lines).encode() + b"\n")
            self.assertEqual([client.read()["id"] for _ in lines], list(range(700)))

    def test_end_of_the_stream(self):
        """A client that has said all it has to say gets all its answers, then the end."""
        for client in self.both():
            client.send_raw(json.dumps(request("points", 1)).encode() + b"\n")
            client.send_raw(b"".join(json.dumps(request("measure", i, ["rail"])).encode() + b"\n"
                                     for i in range(300)))
            client.send_raw(json.dumps(request("follow", 300, {
                "points": ["rail"], "every_ms": 0, "readings": 5})).encode() + b"\n")
            client.finish_sending()
            lines = [json.loads(line) for line in iter(client.read_line, None)]
            self.assertEqual(len([line for line in lines if "result" in line]), 302)
            self.assertEqual(len([line for line in lines if "method" in line]), 6)

    def test_end_of_the_stream_without_answers(self):
        """Nothing to wait for, or only what is not answered: closed all the same."""
        for client in self.both():
            client.send_raw(json.dumps(request("measure", None, ["rail"])).encode() + b"\n")
            client.finish_sending()
            self.assertIsNone(client.read_line())
        for client in (self.daemon.client(), self.daemon.client(tcp=True)):
            client.finish_sending()
            self.assertIsNone(client.read_line())

    def test_client_too_many(self):
        clients = [self.daemon.client() for _ in range(11)]
        for client in clients:
            client.call("health")
        one_more = self.daemon.client()
        self.assertEqual(one_more.read()["error"]["code"], -32025)
        self.assertIsNone(one_more.read_line())
        done = subprocess.run([os.environ["GRADUS"], "--socket", "unix:" + self.daemon.unix,
                               "points"], capture_output=True, text=True)
        self.assertEqual((done.returncode, done.stdout), (3, ""))
        self.assertIn("too many connections", done.stderr)
        clients[0].close()
        self.until(lambda: self.client.call("health")["clients"] == 11)
        self.assertTrue(self.daemon.client().call("health"))


SUBSCRIPTIONS = (("follow", {"points": ["rail"], "every_ms": 86400000}),
                 ("follow", {"points": ["rail"], "every_ms": 0}), ("burnin.follow", {}))


def close(client):
    client.close()


def half_close_and_close(client):
    client.finish_sending()
    client.close()


def reset(client):
    client.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    client.close()


class PlacesCase(DaemonCase):
    def answered(self, method="health", parameters=None):
        """A client over TCP that has got its answer, or None where it was turned away."""
        client = self.daemon.client(tcp=True)
        try:
            client.call(method, **(parameters or {}))
            return client
        except (RpcError, GradusdError, OSError):
            client.close()
            return None


class Places(PlacesCase):
    """Nothing a client does keeps a place from others for longer than is stated."""

    def settings(self, ambient=23.0, more=""):
        return super().settings(ambient, more).replace("clients = 12;",
                                                       "clients = 12; quiet_s = 0.2;")

    def test_subscribers_that_stay_give_way(self):
        for method, parameters in SUBSCRIPTIONS:
            kept = [self.answered(method, parameters) for _ in range(30)]
            for client in filter(None, kept):
                client.finish_sending()
            fresh = []
            self.until(lambda: fresh.append(self.answered()) or fresh[-1])
            for client in filter(None, kept + fresh):
                client.close()

    def test_silent_clients_give_way(self):
        silent = [self.daemon.client(tcp=True) for _ in range(30)]
        fresh = []
        self.until(lambda: fresh.append(self.answered()) or fresh[-1])
        told = [json.loads(client.read_line()) for client in silent[:1]]
        self.assertIn("quiet_s", told[0]["error"]["data"]["what"])
        for client in silent + fresh[-1:]:
            client.close()


class Refusals(PlacesCase):
    """With the times as they come: nobody gives way in a test."""

    def test_subscribers_that_go(self):
        for leave in (close, half_close_and_close, reset):
            for method, parameters in SUBSCRIPTIONS:
                with self.subTest(leave=leave.__name__, method=method, parameters=parameters):
                    for _ in range(34):
                        taken = []
                        self.until(lambda: taken.append(
                            self.answered(method, parameters)) or taken[-1])
                        leave(taken[-1])
        self.until(lambda: self.client.call("health")["clients"] == 1)

    def test_refused_is_told_and_people_on_the_machine_get_in(self):
        clients = [self.daemon.client(tcp=True) for _ in range(10)]
        for client in clients:
            client.call("health")
        for _ in range(20):
            one_more = self.daemon.client(tcp=True)
            one_more.send_raw(b" " * 50000)
            error = one_more.read()["error"]
            self.assertEqual(error["code"], -32025)
            self.assertIn("server.clients", error["data"]["what"])
            self.assertIsNone(one_more.read_line())
            one_more.close()
        self.assertTrue(self.daemon.client().call("health"))
        self.daemon.wait_log("no more are taken")
        self.assertEqual(self.daemon.log.count("no more are taken"), 1)
        for client in clients:
            client.close()
        self.until(lambda: self.client.call("health")["clients"] <= 2)
        self.assertTrue(self.daemon.client(tcp=True).call("health"))
        self.daemon.wait_log("20 were refused")


class Rpc(DaemonCase):
    """JSON-RPC 2.0 as its specification has it, over the real socket."""

    def answer(self, message):
        self.client.send_raw(json.dumps(message).encode() + b"\n")
        return self.client.read()

    def nothing_but(self, number):
        """The next line is the answer to this call: nothing was sent before it."""
        self.client.send_raw(json.dumps(request("health", number)).encode() + b"\n")
        self.assertEqual(self.client.read()["id"], number)

    def test_invalid_requests(self):
        for bad, number in ((1, None), ("x", None), (None, None), (True, None), ({}, None),
                            ({"id": 1}, 1), ({"jsonrpc": "2.0", "id": 7}, 7),
                            ({"jsonrpc": "1.0", "id": 1, "method": "health"}, 1),
                            ({"jsonrpc": 2.0, "id": 1, "method": "health"}, 1),
                            ({"id": 1, "method": "health"}, 1),
                            ({"jsonrpc": "2.0", "id": 1, "method": 1}, 1),
                            ({"jsonrpc": "2.0", "id": 1, "method": "health", "params": 1}, 1),
                            ({"jsonrpc": "2.0", "id": 1, "method": "health", "params": None}, 1),
                            ({"jsonrpc": "2.0", "id": {}, "method": "health"}, None),
                            ({"jsonrpc": "2.0", "id": True, "method": "health"}, None)):
            reply = self.answer(bad)
            self.assertEqual(set(reply), {"jsonrpc", "error", "id"}, bad)
            self.assertEqual(reply["error"]["code"], -32600, bad)
            self.assertEqual(reply["id"], number, bad)

    def test_wrong_methods_and_parameters(self):
        for method, params, code, says in (
                ("frob", None, -32601, None), ("", [], -32601, None),
                ("rpc.frob", None, -32601, None), ("Measure", ["rail"], -32601, None),
                ("measure", None, -32602, "point"), ("measure", [], -32602, "point"),
                ("measure", [1], -32602, "point"), ("measure", [""], -32602, "point"),
                ("measure", {"point": None}, -32602, "point"),
                ("measure", {"pint": "rail"}, -32602, "pint"),
                ("measure", {"point": "rail", "repeat": 0}, -32602, "repeat"),
                ("measure", {"point": "rail", "repeat": 1.5}, -32602, "repeat"),
                ("measure", {"point": "rail", "repeat": 10001}, -32602, "repeat"),
                ("measure", {"point": "rail", "deadline_ms": 0}, -32602, "deadline_ms"),
                ("measure", {"point": "rail", "deadline_ms": "1"}, -32602, "deadline_ms"),
                ("measure", ["rail", 1, 1000, "", 5], -32602, "5"),
                ("health", [1], -32602, "1"), ("points", {"a": 1}, -32602, "a"),
                ("follow", {"points": []}, -32602, "points"),
                ("follow", {"points": "rail"}, -32602, "points"),
                ("follow", {"points": ["rail"], "every_ms": -1}, -32602, "every_ms"),
                ("follow", {"points": ["rail"] * 300}, -32602, "points"),
                ("unfollow", [1], -32602, "subscription"),
                ("measure", ["no"], -32030, "no"), ("hold", ["no"], -32031, "no"),
                ("explain", ["no"], -32030, "no"), ("capture", ["no"], -32030, "no"),
                ("follow", [["rail", "no"]], -32030, "no"), ("talk", ["no", "x"], -32031, "no")):
            error = self.answer(request(method, 1, params))["error"]
            self.assertEqual(error["code"], code, (method, params))
            if says is not None:
                self.assertIn(says, error["data"]["what"], (method, params))
                self.assertNotIn(None, error["data"].values())

    def test_nearest_names(self):
        error = self.refused(self.client.call, "measure", point="scope_rial")
        self.assertEqual(error.data["reason"], "unknown point")
        self.assertIn("scope_rail", error.data["expected"])
        error = self.refused(self.client.call, "hold", instrument="metr")
        self.assertIn("meter", error.data["expected"])

    def test_ids_come_back_as_they_were(self):
        for number in (0, -5, 2 ** 53, 1.5, "", "é", "a\nb"):
            self.assertEqual(self.answer(request("health", number))["id"], number)
        reply = self.answer({"jsonrpc": "2.0", "id": None, "method": "health"})
        self.assertIsNone(reply["id"])
        self.assertIn("result", reply)

    def test_notifications_are_not_answered(self):
        for method, params in (("health", None), ("frob", None), ("measure", ["rail"]),
                               ("measure", ["no"]), ("measure", [1]), ("hold", ["meter"])):
            line = json.dumps(request(method, None, params)).encode() + b"\n"
            self.client.send_raw(line)
        self.until(lambda: self.instrument()["counters"]["queries"] > 0)
        self.nothing_but(9)
        self.assertTrue(self.instrument()["held"])

    def test_batches(self):
        replies = self.answer([
            request("health", 1), request("measure", 2, ["rail"]), request("hold", None, ["meter"]),
            request("frob", 3), request("measure", 4, {"point": "no"}), 5, {"foo": "boo"},
            request("measure", 6, ["second_rail"])])
        found = {reply["id"]: reply for reply in replies if reply["id"] is not None}
        self.assertEqual(len(replies), 7)
        self.assertEqual(set(found), {1, 2, 3, 4, 6})
        self.assertAlmostEqual(found[2]["result"]["value"], 5.0, places=3)
        self.assertEqual(found[6]["result"]["instrument"]["name"], "second")
        self.assertEqual([found[3]["error"]["code"], found[4]["error"]["code"]], [-32601, -32030])
        self.assertEqual([r["error"]["code"] for r in replies if r["id"] is None],
                         [-32600, -32600])

    def test_odd_batches(self):
        self.assertEqual(self.answer([])["error"]["code"], -32600)
        self.assertEqual([r["error"]["code"] for r in self.answer([1, [], [[]]])], [-32600] * 3)
        self.client.send_raw(json.dumps([request("health"), request("frob")]).encode() + b"\n")
        self.nothing_but(8)
        self.assertEqual(self.answer([1] * 1025)["error"]["code"], -32600)

    def test_parameters_by_name_and_by_position(self):
        for reading in (self.client.call("measure", "rail", 3, 5000),
                        self.client.call("measure", point="rail", repeat=3, deadline_ms=5000)):
            self.assertEqual((reading["point"], reading["repeats"]), ("rail", 3))
        self.assertEqual(self.client.call("measure", "rail", None, None)["repeats"], 1)


class Methods(DaemonCase):
    """The shape of what each method answers."""

    def no_null(self, json_value):
        """Members that do not apply are left out."""
        if isinstance(json_value, dict):
            json_value = list(json_value.values())
        if isinstance(json_value, list):
            for element in json_value:
                self.no_null(element)
        self.assertIsNotNone(json_value)

    def test_points(self):
        points = {point["name"]: point for point in self.client.call("points")}
        self.no_null(list(points.values()))
        self.assertEqual(list(points), ["rail", "weak", "second_rail", "plain_rail", "scope_rail",
                                        "old_rail"])
        self.assertEqual(points["rail"], {
            "name": "rail", "quantity": "dc voltage", "unit": "V", "instrument": "meter",
            "input": 1, "probe": "direct", "expected": 5,
            "limits": {"low": 4.5, "high": 5.5, "decision": "guarded"}})
        self.assertEqual(points["old_rail"]["caution"], "hot")

    def test_instruments(self):
        meter = self.instrument()
        self.assertEqual((meter["state"], meter["queue"], meter["kind"]), ("new", 0, "meter"))
        self.assertNotIn("identity", meter)
        self.assertNotIn("last_heard_s", meter)
        self.client.call("measure", "rail")
        meter = self.instrument()
        self.no_null(meter)
        self.assertEqual(meter["state"], "idle")
        self.assertTrue(meter["identity"].startswith("TARNWERK,BENCH METER,"))
        self.assertGreaterEqual(meter["last_heard_s"], 0)
        self.assertEqual(meter["counters"]["opened"], 1)
        self.assertEqual(self.instrument("scope")["kind"], "scope")

    def test_health(self):
        self.refused(self.client.call, "measure", "no")
        before = self.client.call("health")
        self.client.call("measure", "rail")
        after = self.client.call("health")
        self.no_null(after)
        self.assertEqual((after["instruments"], after["points"], after["clients"]), (5, 6, 1))
        self.assertEqual(after["readings"] - before["readings"], 1)
        self.assertEqual(after["requests"] - before["requests"], 2)
        self.assertEqual(set(after["queues"].values()), {0})
        self.assertEqual(after["settings"], self.daemon.settings_path)
        self.assertRegex(after["started"], r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$")
        self.assertRegex(after["version"], r"^\d+\.\d+\.\d+$")

    def test_reading(self):
        reading = self.client.call("measure", "rail")
        self.no_null(reading)
        for member in ("uncertainty", "standard_uncertainty", "coverage_factor", "raw", "budget",
                       "steps", "warnings"):
            self.assertIn(member, reading)
        self.assertEqual((reading["quantity"], reading["unit"], reading["input"]),
                         ("dc voltage", "V", 1))
        self.assertEqual((reading["verdict"], reading["sequence"]), ("pass", 1))
        self.assertEqual(reading["probe"], {"name": "direct", "factor": 1, "unit": "V"})
        self.assertNotIn("volts_per_division", reading["range"])
        scope = self.client.call("measure", "scope_rail")
        self.assertIn("volts_per_division", scope["range"])
        self.assertEqual((scope["sequence"], scope["verdict"]), (2, "none"))
        self.assertNotIn("limits", scope)

    def test_capture(self):
        capture = self.client.call("capture", point="scope_rail", samples=100)
        self.no_null(capture)
        self.assertEqual(len(capture["samples"]), capture["count"])
        self.assertLessEqual(capture["count"], 100)
        self.assertAlmostEqual(capture["parameters"]["mean"], 5.0, delta=0.2)

    def test_failure_has_its_steps(self):
        self.bench.set_source("rail", level=1900.0)
        error = self.refused(self.client.call, "measure", "rail")
        self.no_null(error.data)
        self.assertEqual((error.code, error.message), (-32001, "over range"))
        self.assertEqual((error.data["reason"], error.data["point"]), ("over range", "rail"))
        self.assertEqual(error.data["steps"][-1]["outcome"], "overload")

    def test_talk(self):
        reply = self.client.call("talk", "meter", "*IDN?")
        self.assertTrue(reply["reply"].startswith("TARNWERK"))
        self.assertEqual(self.client.call("talk", "meter", ":SYSTem:KLOCk ON"), {})
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)
        self.daemon.reload(self.settings().replace("talk = true;", ""))
        self.assertEqual(self.refused(self.client.call, "talk", "meter", "*IDN?").code, -32032)

    def test_tcp_serves_the_same(self):
        client = self.daemon.client(tcp=True)
        self.assertEqual(client.call("measure", "rail")["point"], "rail")
        self.assertTrue(client.socket.getsockname()[0] == "127.0.0.1")
        self.assertEqual(client.socket.family, socket.AF_INET)


if __name__ == "__main__":
    unittest.main()
