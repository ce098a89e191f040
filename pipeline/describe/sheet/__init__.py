"""The parts of a draft's page: stops of the flow, cards, traces, the picture, doubts."""
