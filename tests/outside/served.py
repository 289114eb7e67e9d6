"""Speaks to a running service knowing only what its reflection says of itself.

No file of the contract is read here: descriptors come over the wire, message
classes are built from them, and a message is written as a plain dict with the
contract's own field names.
"""

import functools
import os
import uuid

import grpc
from google.protobuf import descriptor_pool, message_factory
from google.rpc import error_details_pb2
from grpc_reflection.v1alpha import reflection_pb2
from grpc_reflection.v1alpha.proto_reflection_descriptor_database import (
    ProtoReflectionDescriptorDatabase,
)
from grpc_status import rpc_status

LARGEST_ANSWER = 64 * 1024 * 1024


class Served:
    """A service at `http://host:port`."""

    def __init__(self, url):
        options = [("grpc.max_receive_message_length", LARGEST_ANSWER)]
        self.channel = grpc.insecure_channel(url.removeprefix("http://"), options=options)
        with open(os.environ["WEIGHHOUSE_KEY_FILE"], encoding="utf-8") as file:
            self.key = [("authorization", f"Bearer {file.read().strip()}")]
        database = ProtoReflectionDescriptorDatabase(self.channel)
        self.services = sorted(database.get_services())
        self.pool = descriptor_pool.DescriptorPool(database)
        self.known = {}

    def method(self, path):
        """Callable of `package.Service/Method`, with the class of its request."""
        if path not in self.known:
            service, name = path.split("/")
            method = self.pool.FindServiceByName(service).FindMethodByName(name)
            request = message_factory.GetMessageClass(method.input_type)
            answer = message_factory.GetMessageClass(method.output_type)
            make = (
                self.channel.stream_stream if method.client_streaming else self.channel.unary_unary
            )
            call = make(f"/{path}", request.SerializeToString, answer.FromString)
            self.known[path] = functools.partial(call, metadata=self.key), request
        return self.known[path]

    def ask(self, path, **fields):
        """Calls a unary method; `path` may leave the package out."""
        path = path if path.count(".") else f"weighhouse.v1.{path}"
        call, request = self.method(path)
        return call(request(**fields), timeout=30)

    def refused(self, path, **fields):
        """Calls a method that must say no: (code, ErrorInfo, BadRequest or None)."""
        try:
            answer = self.ask(path, **fields)
        except grpc.RpcError as error:
            info = bad = None
            status = rpc_status.from_call(error)
            assert status is not None, f"{path}: {error.code()} bears no details"
            for detail in status.details:
                if detail.Is(error_details_pb2.ErrorInfo.DESCRIPTOR):
                    info = error_details_pb2.ErrorInfo()
                    detail.Unpack(info)
                if detail.Is(error_details_pb2.BadRequest.DESCRIPTOR):
                    bad = error_details_pb2.BadRequest()
                    detail.Unpack(bad)
            assert info is not None, f"{path}: no ErrorInfo among {status.details}"
            return error.code(), info, bad
        raise AssertionError(f"{path} had to be refused and was not: {answer}")

    def reflected(self, version, symbol):
        """The serialized files that define `symbol`, by reflection `version`.

        v1 has the messages of v1alpha under another package name, so the same
        classes read both.
        """
        call = self.channel.stream_stream(
            f"/grpc.reflection.{version}.ServerReflection/ServerReflectionInfo",
            reflection_pb2.ServerReflectionRequest.SerializeToString,
            reflection_pb2.ServerReflectionResponse.FromString,
        )
        ask = reflection_pb2.ServerReflectionRequest(file_containing_symbol=symbol)
        (answer,) = call(iter([ask]), timeout=30)
        assert answer.HasField("file_descriptor_response"), f"{version} {symbol}: {answer}"
        return sorted(answer.file_descriptor_response.file_descriptor_proto)


def fresh():
    """A request id nobody used."""
    return str(uuid.uuid4())


class Checks:
    """Counts what was compared, and keeps what differed."""

    def __init__(self):
        self.made = 0
        self.wrong = []

    def same(self, what, got, expected):
        self.made += 1
        if got != expected:
            self.wrong.append(f"{what}: {got!r}, expected {expected!r}")

    def finish(self, least):
        """Ends the script: it fails where anything differed, or too little was compared."""
        for line in self.wrong[:40]:
            print(line)
        print(f"{self.made} comparisons, {len(self.wrong)} differ")
        assert self.made >= least, f"only {self.made} comparisons, at least {least} expected"
        if self.wrong:
            raise SystemExit(1)
