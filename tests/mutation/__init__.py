"""Mutation testing of physics, engine and calculators: does a test fail where the code is wrong?"""
