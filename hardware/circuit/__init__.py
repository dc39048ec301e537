"""A small language for circuits: parts, nets, rules, and what is written from them.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""
