"""What every output carries, whatever else it says."""

#: For files and screens with room for all of it.
CAUTION = (
    "A planning aid, not proof of detection. Walk-test every unit after fixing. Follow the maker's"
    " instructions, local codes and a licensed practitioner. Isolate supplies before work and use safe"
    " access at height. Indoor detector standards do not cover outdoor units; nothing here is said to"
    " comply with one."
)

#: For the foot of a picture.
SHORT_CAUTION = (
    "A planning aid, not proof of detection: walk-test every unit after fixing. Follow the maker's "
    "instructions, local codes and a licensed practitioner; isolate supplies and use safe access at height."
)
