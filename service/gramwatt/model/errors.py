"""The error of a declaration."""


class DeclarationError(TypeError):
    """The declaration of a calculator is invalid. The text lists every problem."""
