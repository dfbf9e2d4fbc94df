"""The kinds of FHIR resource that are read, and where each keeps what we need."""

from dataclasses import dataclass

DEVICE = "Device"


@dataclass(frozen=True)
class Kind:
    """Where a kind of resource keeps what we read.

    `codes` are concepts that a service maps; `quiet` ones may be mapped and are not missed when they are
    not. `void` lists the statuses of a resource that says nothing of what happened.
    """

    codes: tuple[str, ...]
    dates: tuple[str, ...]
    quiet: tuple[str, ...] = ()
    people: tuple[str, str, str] = ("", "", "")
    void: tuple[str, ...] = ("entered-in-error",)


# Elements of HL7 FHIR R4 (4.0.1), https://hl7.org/fhir/R4/
KINDS: dict[str, Kind] = {
    "Encounter": Kind(
        codes=("type", "reasonCode"),
        quiet=("class", "serviceType"),
        dates=("period",),
        people=("participant", "individual", "type"),
        void=("entered-in-error", "planned", "cancelled"),
    ),
    "Procedure": Kind(
        codes=("code", "statusReason", "reasonCode", "outcome", "complication", "followUp", "usedCode"),
        quiet=("category",),
        dates=("performedDateTime", "performedPeriod"),
        people=("performer", "actor", "function"),
        void=("entered-in-error", "preparation"),
    ),
    "Observation": Kind(
        codes=(),
        quiet=("interpretation",),
        dates=("effectiveDateTime", "effectivePeriod", "effectiveInstant", "issued"),
        void=("entered-in-error", "cancelled", "registered"),
    ),
    "AdverseEvent": Kind(
        codes=("event",),
        quiet=("category", "seriousness", "severity", "outcome"),
        dates=("date", "detected", "recordedDate"),
        void=("potential",),
    ),
    "Condition": Kind(
        codes=("code",),
        quiet=("category", "severity", "stage"),
        dates=("recordedDate", "onsetDateTime", "onsetPeriod"),
        void=("entered-in-error", "refuted"),
    ),
    "DeviceUseStatement": Kind(
        codes=("reasonCode",),
        quiet=("bodySite",),
        dates=("timingPeriod", "timingDateTime", "recordedOn"),
        void=("entered-in-error", "not-done", "intended"),
    ),
}
