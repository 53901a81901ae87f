"""The Python kit of trackproof: copy this file beside your controller, subclass, run.

It needs Python 3.9 or newer and nothing but the standard library. It speaks the protocol of
PROTOCOL.md for you: you write what your controller does, and

    from trackproof_child import WordReader, run

    class Mine(WordReader):
        def shift_in(self, bit):
            ...

    run(Mine)

is a whole child: `trackproof check "cmd:python3 mine.py"`.

There are four kinds, from the smallest part to the whole:

* `WordReader`    shift register, sync comparator, word framing, FIFO: channel bits in, words out;
* `TrackEncoder`  what an image-backed drive makes of its sectors;
* `DataSeparator` flux transitions in, channel bits out;
* `Controller`    controller and drives together, told what happens at which nanosecond.

What you do not write is a missing capability: cases that need it are skipped and counted, and
nothing is held against you. Every case gets a new object. What an object prints goes to standard
error. An exception in your code ends the process, which is a finding of the rule `stops`, and the
traceback is shown; `raise CannotRun("why")` says that the glue cannot do what it was asked, and
nothing about the controller (exit code 7).

What the words mean (match, boundary, overrun, …) is the profile's to say: a sentence a key in
`adapters/contract/profiles/*.toml`. A profile is a dict of names and texts here, as `trackproof`
writes them: `{"word_bits": "16", "overrun": "lose-new", …}`.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from dataclasses import dataclass, field
from typing import Any, BinaryIO, Callable, Dict, List, Optional, Sequence, Union

PROTOCOL = 1
"""The version of the protocol that this kit speaks."""

Profile = Dict[str, str]
"""Names of keys and their values, all of them texts."""

STATUS_BITS = {
    "done": 1,
    "busy": 2,
    "error": 4,
    "match": 8,
    "index": 16,
    "track-00": 32,
    "protect": 64,
    "ready": 128,
    "change": 256,
}
"""The bits of a status, by name."""


class CannotRun(Exception):
    """The glue cannot do what it was asked; the text says why. No verdict on the controller."""


def absent(method: Callable[..., Any]) -> Callable[..., Any]:
    """Marks a method of a part that is not there yet: take the mark away when you have written it."""
    method.absent = True  # type: ignore[attr-defined]
    return method


# Strings of bits ------------------------------------------------------------------------------


def bits_of(written: Dict[str, Any]) -> str:
    """The bits of `{"bits": N, "hex": "…"}` as a text of N characters 0 and 1, the first first."""
    count, digits = written["bits"], written["hex"]
    if count == 0:
        return ""
    return format(int(digits, 16), "0%db" % (4 * len(digits)))[:count]


def written_bits(bits: Union[str, Sequence[int]]) -> Dict[str, Any]:
    """The same back: of a text of 0 and 1, or of numbers 0 and 1."""
    text = bits if isinstance(bits, str) else "".join("1" if bit else "0" for bit in bits)
    count = len(text)
    if count == 0:
        return {"bits": 0, "hex": ""}
    padded = text + "0" * (-count % 8)
    return {"bits": count, "hex": format(int(padded, 2), "0%dx" % (len(padded) // 4))}


# The part that makes words of channel bits ----------------------------------------------------


class WordReader:
    """The part of a controller that makes words of channel bits; drives and host are lent to it.

    Write `shift_in`, and of the other methods those that you have. The reader is called like
    hardware that is clocked once a channel bit; it never learns the time, and needs none.

    *Without `request`* it is a framer: it hands out every word as it completes, and requests and
    FIFO are lent to it. *With `request` and `service`* it keeps its own transfers: `shift_in` then
    returns None, and words leave by `service` alone.

    At one moment come, in this order: `shift_in`, if a channel bit ends then; `service`, for the
    transfer that was requested before; what the host does, in its order (a transfer that is
    requested then may be served at once, behind it); `index`, if the bit that begins then is the
    first of the turn. `match_signal` and then `done_signal` are asked after every one of them.

    Each case begins with a new object and `power_up`: the register holds zeros, valid; the sync
    word is 4489, its low R bits; hardware sync is off; nothing is pending.
    """

    name: str = ""
    """How it is called in errors; the class's name if it is empty."""

    profile: Optional[Profile] = None
    """The profile that it has, if it cannot take any; keys left out are as in `sync-dma`."""

    status: Sequence[str] = ()
    """The status bits that `poll_status` drives: of done, busy, error, match."""

    def power_up(self, profile: Profile) -> None:
        """Power comes on; what the profile leaves open is chosen as it says."""

    def shift_in(self, bit: int) -> Optional[int]:
        """A channel bit ends: 1 for a flux transition. A framer returns the word that completes
        with it, its W bits, the first channel bit the highest; else None."""
        raise NotImplementedError

    def request(self, transfer: int, words: int, start: str) -> bool:
        """The host asks for a read of so many words. `start`: "now" (raw), "match" (at the first
        match made from now on), "index" (raw, at the next `index`). True: it is refused and
        reported (`start_busy = error`). Else it is accepted, or silently ignored."""
        raise NotImplementedError

    def service(self, transfer: int) -> Optional[int]:
        """The bus is this transfer's to move one word: the oldest in the FIFO. None, and nothing
        happens, if none waits or that transfer does not run."""
        raise NotImplementedError

    def set_hardware_sync(self, on: bool) -> None:
        """Hardware sync is on from now on, or off."""
        raise NotImplementedError

    def set_sync_word(self, word: int) -> None:
        """The sync word becomes this: its low R bits."""
        raise NotImplementedError

    def source_changed(self) -> None:
        """The channel bits come from elsewhere from now on; the register is invalid until R bits
        have come."""
        raise NotImplementedError

    def index(self) -> None:
        """The index passes; the next `shift_in` brings the first bit of the turn."""
        raise NotImplementedError

    def abort(self) -> None:
        """The waiting or running transfer ends, without a completion signal."""
        raise NotImplementedError

    def reset(self) -> None:
        """The controller is reset."""
        raise NotImplementedError

    def poll_status(self) -> Sequence[str]:
        """The host reads the status: the names of those bits of `status` that are set."""
        raise NotImplementedError

    def poll_byte(self) -> "tuple[int, bool]":
        """The host reads the newest byte, and whether it had not been read before."""
        raise NotImplementedError

    def done_signal(self) -> bool:
        """Whether the completion signal came since this was asked last."""
        raise NotImplementedError

    def match_signal(self) -> bool:
        """Whether a match was signalled since this was asked last (`flag = event`)."""
        raise NotImplementedError


_READER_METHODS = (
    "shift_in",
    "request",
    "service",
    "set_hardware_sync",
    "set_sync_word",
    "source_changed",
    "index",
    "abort",
    "reset",
    "poll_status",
    "poll_byte",
    "done_signal",
    "match_signal",
)


def _reader_hello(reader: WordReader) -> Dict[str, Any]:
    has = [
        method
        for method in _READER_METHODS
        if getattr(type(reader), method) is not getattr(WordReader, method)
        and not getattr(getattr(type(reader), method), "absent", False)
    ]
    return {"offers": "word-reader", "methods": has, "status": list(reader.status)}


def _read(reader: WordReader, message: Dict[str, Any], methods: Sequence[str]) -> Dict[str, Any]:
    """Lives through the calls of a case."""
    reader.power_up(message["profile"])
    came: List[Dict[str, Any]] = []
    at = 0

    def give(item: Any) -> None:
        came.append({"at": at, "item": item})

    asks_match, asks_done = "match_signal" in methods, "done_signal" in methods

    def signals() -> None:
        if asks_match and reader.match_signal():
            give("Match")
        if asks_done and reader.done_signal():
            give("Done")

    for call in message["calls"]:
        kind = call["call"]
        if kind == "shift-in":
            for bit in bits_of(call):
                word = reader.shift_in(1 if bit == "1" else 0)
                if word is not None:
                    give({"Word": {"transfer": 0, "value": word}})
                signals()
                at += 1
            continue
        if kind == "service":
            word = reader.service(call["transfer"])
            if word is not None:
                give({"Word": {"transfer": call["transfer"], "value": word}})
        elif kind == "request":
            if reader.request(call["transfer"], call["words"], call["start"]):
                give({"Refused": {"transfer": call["transfer"]}})
        elif kind == "poll-status":
            give({"Status": _status(reader.poll_status())})
        elif kind == "poll-byte":
            value, fresh = reader.poll_byte()
            give({"Byte": {"value": value, "fresh": fresh}})
        elif kind == "sync-word":
            reader.set_sync_word(call["word"])
        elif kind == "hardware-sync":
            reader.set_hardware_sync(call["on"])
        elif kind == "source-changed":
            reader.source_changed()
        elif kind == "index":
            reader.index()
        elif kind == "abort":
            reader.abort()
        elif kind == "reset":
            reader.reset()
        else:
            raise CannotRun("this kit knows no call `%s`; take a newer one" % kind)
        signals()
        at += 1
    return {"came": came}


def _status(names: Sequence[str]) -> int:
    return sum(STATUS_BITS[name] for name in set(names))


# The part that makes a track of an image's sectors --------------------------------------------


@dataclass
class Image:
    """A track of an image."""

    cylinder: int
    side: int
    layout: Dict[str, Any]
    """How its sectors stand: {"layout": "full-track", "sectors", "sector_bytes"}, or
    {"layout": "soft-sector", "sectors", "size_code", "gap_4a_bytes", …}."""
    sectors: bytes
    """The data of all sectors, in their order."""
    turn_bits: int
    """The channel bits of a turn."""


class TrackEncoder:
    """The code that turns the data of sectors into the stream of a track. Both layouts must be
    there; `cargo doc --open -p trackproof-contract` has their fields under `TrackEncoder`."""

    name: str = ""
    profile: Optional[Profile] = None

    def encode(self, image: Image) -> Union[str, Sequence[int]]:
        """One turn from the index on: `turn_bits` channel bits, as a text of 0 and 1 or as
        numbers."""
        raise NotImplementedError


def _encode(encoder: TrackEncoder, message: Dict[str, Any]) -> Dict[str, Any]:
    streams = []
    for one in message["images"]:
        sectors = bytes.fromhex(one["sectors"]["hex"])
        image = Image(one["cylinder"], one["side"], one["layout"], sectors, one["turn_bits"])
        streams.append(written_bits(encoder.encode(image)))
    return {"streams": streams}


class DataSeparator:
    """The code that makes channel bits of flux. `cargo doc --open -p trackproof-contract` says
    under `DataSeparator` what it is held to."""

    name: str = ""
    profile: Optional[Profile] = None
    given: Profile = {}
    """The profile that it is to have; `channel_bit_ns` is T."""

    def separate(self, transitions_ns: Sequence[int], until_ns: int) -> Union[str, Sequence[int]]:
        """The channel bits of these transitions, nanoseconds from power-up in rising order, up to
        the end at `until_ns`: as a text of 0 and 1 or as numbers, the oldest first."""
        raise NotImplementedError


def _separate(separator: DataSeparator, message: Dict[str, Any]) -> Dict[str, Any]:
    separator.given = message["profile"]
    bits = separator.separate(message["transitions_ns"], message["until_ns"])
    return {"separated": written_bits(bits)}


# Controller and drives together ---------------------------------------------------------------


@dataclass
class Event:
    """What happens at one moment. Which fields count is `action`'s to say."""

    at_ns: int
    """When, in nanoseconds from power-up."""
    action: str
    """"select", "motor" (`value`: the mask of lines), "side", "output" (`value`), "step"
    (`direction`), "sync-word" (`value`), "hardware-sync" (`value`: 0 or 1), "read" (`transfer`,
    `words`, `start`), "write" (`transfer`, `start`, `data`), "service" (`transfer`), "abort",
    "poll-status", "poll-byte", "reset", "end"."""
    value: int = 0
    direction: str = ""
    transfer: int = 0
    words: int = 0
    start: str = ""
    data: List[int] = field(default_factory=list)
    """The words of a write: those that the program has, or those that an earlier read of it has
    delivered."""


class Seen:
    """What the host saw. Times never go back and stay inside the program."""

    def __init__(self) -> None:
        self.items: List[Dict[str, Any]] = []
        self.delivered: Dict[int, List[int]] = {}

    def word(self, at_ns: int, transfer: int, value: int) -> None:
        """A service of that transfer has moved a word; at most one a service."""
        self._add(at_ns, {"Word": {"transfer": transfer, "value": value}})
        self.delivered.setdefault(transfer, []).append(value)

    def status(self, at_ns: int, names: Sequence[str]) -> None:
        """The answer to "poll-status": the names of the bits that are set."""
        self._add(at_ns, {"Status": _status(names)})

    def byte(self, at_ns: int, value: int, fresh: bool) -> None:
        """The answer to "poll-byte"."""
        self._add(at_ns, {"Byte": {"value": value, "fresh": fresh}})

    def done(self, at_ns: int) -> None:
        """The completion signal."""
        self._add(at_ns, "Done")

    def match(self, at_ns: int) -> None:
        """The match signal of profiles with `flag = event`."""
        self._add(at_ns, "Match")

    def refused(self, at_ns: int, transfer: int) -> None:
        """That request was refused since the controller was busy."""
        self._add(at_ns, {"Refused": {"transfer": transfer}})

    def _add(self, at_ns: int, item: Any) -> None:
        self.items.append({"at_ns": at_ns, "item": item})


class Controller:
    """Controller and drives together, as in an emulator. It lives in virtual time and must not
    look at a clock: it is told what happens at which nanosecond, and says what the host saw at
    which nanosecond."""

    name: str = ""
    profile: Optional[Profile] = None
    """The profile that it has, if it cannot take any."""

    capabilities: Sequence[str] = ()
    """What it can do: names as `trackproof` reports them ("read", "abort", "status-busy", …). Name
    all that it can do, and nothing that it cannot."""

    def power_up(self, case: Dict[str, Any]) -> None:
        """Power comes on at time 0: all lines inactive, the media in. The case's `profile`, `bench`
        and `tracks` say what there is; its `program` comes as events."""

    def take(self, event: Event, seen: Seen) -> None:
        """Lives on up to the event, and through it. "poll-status" and "poll-byte" are owed an
        answer at their time, a "service" moves one word at most."""
        raise NotImplementedError

    def show(self, track: Dict[str, Any]) -> Union[str, Sequence[int]]:
        """After the run, for a controller that has "media": what is recorded there now, as many
        bits as in `track`, which is as it was at power-up. An image's are its sectors' data."""
        raise CannotRun("it names `media`, and has no `show`")


def events(case: Dict[str, Any]) -> List[Event]:
    """A case's events in their order: by time; at one moment the services of earlier transfers,
    then the operations in the program's order, a new transfer's own services behind it."""
    access_ns, program = case["bench"]["access_ns"], case["program"]
    end_ns = sum(one["ns"] if one["op"] == "wait" else access_ns for one in program)
    ordered: List["tuple[int, int, bool, Event]"] = []
    at_ns, transfer = 0, -1
    for index, one in enumerate(program):
        kind = one["op"]
        if kind == "wait":
            at_ns += one["ns"]
            continue
        event = Event(at_ns, kind)
        if kind in ("select", "motor"):
            event.value = one["mask"]
        elif kind == "side":
            event.value = one["side"]
        elif kind == "step":
            event.direction = one["direction"]
        elif kind == "sync-word":
            event.value = one["word"]
        elif kind == "hardware-sync":
            event.value = int(one["on"])
        elif kind == "output":
            event.value = one["value"]
        elif kind in ("read", "write"):
            transfer += 1
            event.transfer, event.start = transfer, one["start"]
            event.words = one.get("words", 0)
            for service_ns in _services(one["service"], case["profile"], end_ns - at_ns):
                service = Event(at_ns + service_ns, "service", transfer=transfer)
                ordered.append((at_ns + service_ns, index, True, service))
        ordered.append((at_ns, index, False, event))
        at_ns += access_ns
    ordered.append((end_ns, len(program), False, Event(end_ns, "end")))
    ordered.sort(key=lambda one: one[:3])
    return [one[3] for one in ordered]


def _services(service: Dict[str, Any], profile: Profile, until_ns: int) -> List[int]:
    """When a transfer is served, in nanoseconds after its request."""
    interval_ns, each = service["interval_ns"], 1
    if profile["service"].startswith("slots("):
        period, count = profile["service"][len("slots(") : -1].split(",")
        interval_ns, each = int(period), int(count)
    times: List[int] = []
    after_ns = service["first_ns"]
    while after_ns <= until_ns:
        for stall in service["stalls"]:
            if 0 <= after_ns - stall["from_ns"] < stall["length_ns"]:
                over_ns = stall["from_ns"] + stall["length_ns"] - after_ns
                after_ns += -(-over_ns // interval_ns) * interval_ns
                break
        else:
            times += [after_ns] * each
            after_ns += interval_ns
    return times


def _words_to_write(case: Dict[str, Any], transfer: int, seen: Seen) -> List[int]:
    """The words of the write that is that request of the program."""
    requests = [one for one in case["program"] if one["op"] in ("read", "write")]
    source, profile = requests[transfer]["source"], case["profile"]
    width = int(profile["word_bits"])
    if "words" in source:
        return _whole_words(bits_of(source["words"]), width)
    copy = source["copy"]
    words = list(seen.delivered.get(copy["transfer"], []))
    if copy["align"] is not None:
        bits = "".join(format(word, "0%db" % width) for word in words)
        at = _search(bits, copy["align"], profile)
        words = [] if at is None else _whole_words(bits[at:], width)
    return words[copy["skip"] : copy["skip"] + copy["count"]]


def _whole_words(bits: str, width: int) -> List[int]:
    whole = len(bits) // width
    return [int(bits[at * width : (at + 1) * width], 2) for at in range(whole)]


def _search(bits: str, sync: int, profile: Profile) -> Optional[int]:
    """Where the sync word first stands, under the profile's mask."""
    width, mask = int(profile["register_bits"]), int(profile["sync_mask"], 16)
    for at in range(len(bits) - width + 1):
        if (int(bits[at : at + width], 2) ^ sync) & mask == 0:
            return at
    return None


def _live_through(controller: Controller, message: Dict[str, Any]) -> Dict[str, Any]:
    case = message["case"]
    controller.power_up(case)
    seen = Seen()
    for event in events(case):
        if event.action == "write":
            event.data = _words_to_write(case, event.transfer, seen)
            event.words = len(event.data)
        controller.take(event, seen)
    media = []
    if "media" in controller.capabilities:
        for track in case["tracks"]:
            form, content = next(iter(track["medium"].items()))
            place = "sectors" if form == "image" else "track"
            shown = {**content, place: written_bits(controller.show(track))}
            media.append({**track, "medium": {form: shown}})
    return {"observation": {"items": seen.items, "media": media}}


# The protocol ---------------------------------------------------------------------------------

Part = Union[WordReader, TrackEncoder, DataSeparator, Controller]


def run(make: Callable[[], Part]) -> None:
    """Speaks to the program that started this process, until it has no more cases. `make` makes a
    new object for each case: a class, or a function without parameters."""
    lines, out = _streams()
    first = make()
    hello: Dict[str, Any] = {
        "protocol": PROTOCOL,
        "name": first.name or type(first).__name__,
        "profile": first.profile,
        "max_in_flight": 1,
    }
    answer: Callable[[Dict[str, Any]], Dict[str, Any]]
    if isinstance(first, WordReader):
        hello.update(_reader_hello(first))
        methods = hello["methods"]
        answer = lambda message: _read(make(), message, methods)  # noqa: E731
    elif isinstance(first, TrackEncoder):
        hello["offers"] = "track-encoder"
        answer = lambda message: _encode(make(), message)  # noqa: E731
    elif isinstance(first, DataSeparator):
        hello["offers"] = "data-separator"
        answer = lambda message: _separate(make(), message)  # noqa: E731
    elif isinstance(first, Controller):
        hello.update(offers="controller", capabilities=list(first.capabilities))
        answer = lambda message: _live_through(make(), message)  # noqa: E731
    else:
        raise TypeError("%r is no part of a controller, and no Controller" % (first,))
    greeting = json.loads(lines.readline() or b"{}")
    if greeting.get("protocol") != PROTOCOL:
        sys.exit("this kit speaks protocol %d, and was greeted with %r" % (PROTOCOL, greeting))
    _send(out, hello)
    for line in lines:
        message = json.loads(line)
        try:
            answered = answer(message)
        except CannotRun as why:
            answered = {"failed": str(why)}
        except Exception:
            traceback.print_exc()
            sys.exit(1)
        _send(out, {"id": message["id"], **answered})


def _streams() -> "tuple[BinaryIO, BinaryIO]":
    """Keeps both pipes for the protocol alone: whatever else reads gets nothing, whatever else
    prints goes to standard error."""
    lines, out = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    return lines, out


def _send(out: BinaryIO, message: Dict[str, Any]) -> None:
    out.write(json.dumps(message, separators=(",", ":")).encode() + b"\n")
    out.flush()
