# The image holds one static program and nothing else: no shell, no packages.
#
# BUILDER is any image with Go 1.26 and a shell; name another where the default
# cannot be fetched:  --build-arg BUILDER=registry.example/go:1.26
ARG BUILDER=golang:1.26

FROM ${BUILDER} AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -ldflags="-s -w" -o /out/countback ./services/countback
RUN mkdir -p /out/data /out/tmp

FROM scratch
COPY --from=build /out/countback /countback
# The root file system may be mounted read-only: all that is written goes to
# /data (keep it), and /tmp (need not be kept).
COPY --from=build --chown=65532:65532 /out/data /data
COPY --from=build --chown=65532:65532 /out/tmp /tmp
USER 65532:65532
WORKDIR /data
VOLUME /data
ENV COUNTBACK_DATA=/data
# FHIR; health and metrics. Both listen on loopback unless told.
EXPOSE 8080 8081
ENTRYPOINT ["/countback"]
CMD ["serve"]
